//! Every kind of mistake: where it is shown, what is said and what is offered.

use super::{Texts, repository};
use std::fs;
use tallyjaw::config::Diagnostic;

#[test]
fn every_mistake() {}

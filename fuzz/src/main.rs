//! Runs the fuzz engine on the body that `TALLYJAW_FUZZ` names. `./fuzz/run` builds and runs it.
#![no_main]

#[path = "../../tests/suite/fuzz/bodies.rs"]
mod bodies;

use bodies::{BODIES, Body};
use libfuzzer_sys::fuzz_target;
use std::sync::LazyLock;

static BODY: LazyLock<Body> = LazyLock::new(|| {
    let wanted = std::env::var("TALLYJAW_FUZZ").unwrap_or_default();
    let found = BODIES.iter().find(|(name, _)| *name == wanted);
    *found.unwrap_or_else(|| panic!("no body {wanted:?}: TALLYJAW_FUZZ names one of bodies.rs"))
});

fuzz_target!(|input: &[u8]| (BODY.1)(input));

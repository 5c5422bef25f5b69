//! Crimp tools and their nests.

use super::ToolCare;
use crate::quantity::{Area, named};

named! {
    /// What a tool was made for.
    pub enum ToolClass {
        /// For series of one terminal, as its maker crimps in production.
        Production = "production",
        /// For repairs in the field.
        Repair = "repair",
    }
}

/// A crimp tool.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tool {
    /// As written in the configuration, unique among its kind.
    pub id: String,
    /// What it was made for.
    pub class: ToolClass,
    /// The terminals it is for; empty if it is for any.
    pub terminals: Vec<String>,
    /// Its nests; empty if none are configured.
    pub nests: Vec<Nest>,
    /// Its last check and the next one.
    pub care: ToolCare,
}

/// A nest of a crimp tool.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Nest {
    /// As written in the configuration, unique among its kind.
    pub id: String,
    /// The conductor sizes it is for.
    pub wires: Vec<Area>,
}

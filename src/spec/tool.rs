//! Crimp tools and their nests.

use super::ToolCare;
use crate::quantity::{Area, named};

named! {
    /// What a tool was made for.
    pub enum ToolClass {
        /// Crimps as the terminal's maker does in production.
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
    /// The terminals it is for; empty where none are named.
    pub terminals: Vec<String>,
    /// Its nests; empty where it has none worth naming.
    pub nests: Vec<Nest>,
    /// When it was and is to be checked.
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

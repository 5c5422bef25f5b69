//! Crimp tools and their nests.

use super::ToolCare;
use crate::quantity::Area;

/// What a tool was made for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ToolClass {
    /// Crimps as the terminal's maker does in production.
    Production,
    /// For repairs in the field.
    Repair,
}

impl ToolClass {
    /// Every class.
    pub const ALL: [Self; 2] = [Self::Production, Self::Repair];

    /// As in tools and entries.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Production => "production",
            Self::Repair => "repair",
        }
    }

    /// The class of this name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|class| class.name() == name)
    }
}

/// A crimp tool.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tool {
    /// Its id.
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
    /// Its id.
    pub id: String,
    /// The conductor sizes it is for.
    pub wires: Vec<Area>,
}

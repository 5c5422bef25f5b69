//! What a person is asked about crimps besides the measurements: visual checks, and how a pull test failed.
//!
//! The customary visual checks are a table to choose from (common practice, no source). The sheet of the terminal's
//! maker and the customer's drawing decide which are required.

use crate::quantity::named;

/// The most visual checks of a plan.
pub const MOST_LOOKS: usize = 20;

/// The questions of a plan.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Questions {
    /// The visual checks, in the order in which they are asked.
    pub looks: Vec<Look>,
    /// Whether each piece is looked at, or the series as a whole.
    pub looks_per: LooksPer,
    /// Whether it is asked how each pull failed; the series stays open until that is answered.
    pub pull_mode: bool,
}

impl Questions {
    /// A visual check by its number, from 1.
    pub fn look(&self, number: u32) -> Option<&Look> {
        let at = usize::try_from(number).ok()?.checked_sub(1)?;
        self.looks.get(at)
    }
}

/// A visual check: a question that is answered good or bad.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Look {
    /// Its name in the table of customary checks; `None` for a question of the plan's own.
    pub name: Option<String>,
    /// The question; "good" means that the crimp is as it should be.
    pub question: String,
}

named! {
    /// How often visual checks are asked.
    #[derive(Default)]
    pub enum LooksPer {
        /// For each piece, after its last measurement.
        #[default]
        Piece = "piece",
        /// Once, after all measurements.
        Series = "series",
    }
}

named! {
    /// How a pull test failed.
    #[derive(PartialOrd, Ord)]
    pub enum PullMode {
        /// The wire came out of the barrel, whole.
        PulledOut = "pulled_out",
        /// The wire broke at the crimp or inside of it.
        BrokeAtCrimp = "broke_at_crimp",
        /// The wire broke away from the crimp.
        BrokeInWire = "broke_in_wire",
        /// The terminal broke, the clamp slipped, or the like.
        Other = "other",
    }
}

impl PullMode {
    /// As people say it.
    pub const fn words(self) -> &'static str {
        match self {
            Self::PulledOut => "wire pulled out",
            Self::BrokeAtCrimp => "wire broke at the crimp",
            Self::BrokeInWire => "wire broke away from the crimp",
            Self::Other => "other",
        }
    }
}

/// A customary visual check of a crimp (common practice, no source).
#[derive(Debug)]
pub struct CustomaryLook {
    /// As a plan names it.
    pub name: &'static str,
    /// The question.
    pub question: &'static str,
    /// Why it is asked.
    pub why: &'static str,
}

/// The customary visual checks of a crimp, in the order of looking at it from the contact to the insulation.
pub const LOOKS: [CustomaryLook; 10] = [
    CustomaryLook {
        name: "contact_straight",
        question: "Is the contact straight, neither bent nor twisted?",
        why: "A bent contact does not mate, or damages its counterpart.",
    },
    CustomaryLook {
        name: "brush_visible",
        question: "Do the strands end just in front of the core crimp?",
        why: "Strands that end inside of the barrel are not held over its whole length; long ones hinder mating.",
    },
    CustomaryLook {
        name: "bellmouth",
        question: "Is there a bellmouth at the wire side of the core crimp?",
        why: "Without it the edge of the barrel cuts into the strands.",
    },
    CustomaryLook {
        name: "strands_in",
        question: "Are all strands in the core crimp?",
        why: "A strand outside carries neither current nor force, and can touch a neighbour.",
    },
    CustomaryLook {
        name: "strands_whole",
        question: "Are all strands whole, none cut or nicked?",
        why: "Damage from stripping weakens the wire where it bends.",
    },
    CustomaryLook {
        name: "core_closed",
        question: "Is the core crimp closed and its seam tight?",
        why: "An open seam does not hold the strands under pressure.",
    },
    CustomaryLook {
        name: "no_cracks",
        question: "Is the barrel without cracks and large burrs?",
        why: "Cracks grow; a large burr shows a worn tool.",
    },
    CustomaryLook {
        name: "insulation_window",
        question: "Do both the insulation and bare strands show between the two crimps?",
        why: "Insulation in the core crimp lowers the pressure on the strands.",
    },
    CustomaryLook {
        name: "insulation_held",
        question: "Does the insulation crimp hold the insulation without piercing it?",
        why: "It takes the strain of bending off the core crimp.",
    },
    CustomaryLook {
        name: "seal_seated",
        question: "Is the seal undamaged and held by the insulation crimp?",
        why: "A seal that is cut or out of place lets water in.",
    },
];

impl Look {
    /// A customary check by its name.
    pub fn customary(name: &str) -> Option<Self> {
        let known = LOOKS.iter().find(|known| known.name == name)?;
        Some(Self {
            name: Some(known.name.to_owned()),
            question: known.question.to_owned(),
        })
    }

    /// A question of the plan's own.
    pub fn of_its_own(question: String) -> Self {
        Self {
            name: None,
            question,
        }
    }
}

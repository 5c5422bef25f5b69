//! The words of version 1 that stand for one of several.

use crate::entry;
use crate::quantity;
use crate::spec;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// An enum of texts, and the way to and from the one that the rest of the program uses.
macro_rules! names {
    ($($(#[$meta:meta])* $name:ident for $domain:path { $($variant:ident = $text:literal),+ $(,)? })+) => { $(
        $(#[$meta])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
        pub(super) enum $name {
            $(#[serde(rename = $text)] $variant),+
        }

        impl From<$domain> for $name {
            fn from(value: $domain) -> Self {
                use $domain as Domain;
                match value {
                    $(Domain::$variant => Self::$variant),+
                }
            }
        }

        impl From<$name> for $domain {
            fn from(value: $name) -> Self {
                match value {
                    $($name::$variant => Self::$variant),+
                }
            }
        }
    )+ };
}

names! {
    Unit for quantity::Unit {
        Millimetre = "mm",
        Centimetre = "cm",
        Micrometre = "um",
        Inch = "in",
        Newton = "N",
        Kilonewton = "kN",
        KilogramForce = "kgf",
        PoundForce = "lbf",
    }
    Reservation for entry::Reservation {
        CalibrationOverdue = "calibration_overdue",
        VerificationOverdue = "verification_overdue",
        VerificationFailed = "verification_failed",
        ToolCheckOverdue = "tool_check_overdue",
        UncertaintyRatioLow = "uncertainty_ratio_low",
        RepairClassTool = "repair_class_tool",
    }
    Verdict for spec::Verdict {
        Pass = "pass",
        FailLow = "fail_low",
        FailHigh = "fail_high",
        UnsureLow = "unsure_low",
        UnsureHigh = "unsure_high",
    }
    Purpose for spec::Purpose {
        FirstOff = "first_off",
        InProcess = "in_process",
        LastOff = "last_off",
        Qualification = "qualification",
        Reference = "reference",
        GaugeStudy = "gauge_study",
        Verification = "verification",
    }
    #[expect(clippy::enum_variant_names, reason = "as the names on disk")]
    Order for spec::Order {
        ByAxis = "by_axis",
        ByPiece = "by_piece",
        ByValue = "by_value",
    }
    Sizing for spec::SizingSystem {
        IsoMm2 = "iso_mm2",
        SaeMetric = "sae_metric",
        AwgArea = "awg_area",
    }
    ToolClass for spec::ToolClass {
        Production = "production",
        Repair = "repair",
    }
    Outcome for entry::Outcome {
        Accepted = "accepted",
        Rejected = "rejected",
        Undecided = "undecided",
        CutShort = "cut_short",
    }
    Means for entry::Means {
        Command = "command",
        Card = "card",
        Pedal = "pedal",
        DoubleZero = "double_zero",
    }
    ZeroRole for entry::ZeroRole {
        Opening = "opening",
        Periodic = "periodic",
        Closing = "closing",
        Unasked = "unasked",
    }
    NotCounted for entry::NotCounted {
        NotArmed = "not_armed",
        ZeroDue = "zero_due",
        ZeroOff = "zero_off",
        OriginMoved = "origin_moved",
        Implausible = "implausible",
        SeriesFull = "series_full",
        AxisFull = "axis_full",
        WrongInstrument = "wrong_instrument",
        AnotherAdapter = "another_adapter",
        PortShared = "port_shared",
    }
}

/// Whether a reading counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub(super) enum Standing {
    #[serde(rename = "counted")]
    Counted,
    #[serde(rename = "not_counted")]
    NotCounted,
}

/// The rule of judging.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub(super) enum Rule {
    #[serde(rename = "simple")]
    Simple,
    #[serde(rename = "guarded")]
    Guarded,
}

//! Whether a reading counts, and what changed that.

use crate::entry::{NotCounted, Seq, Standing};

/// Whether a reading counts, and what changed that.
///
/// A reading is entered as counted or not. A counted reading can become doubted, which is final, or retracted, which
/// can be restored. The first such entry decides; later ones about the same reading have no effect until it is
/// restored.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Disposition {
    /// It counts.
    Counted,
    /// It was entered as not counted, for this reason.
    NotCounted(NotCounted),
    /// It was put in doubt by the entry with this number.
    Doubted(Seq),
    /// The operator retracted it by the entry with this number.
    Retracted(Seq),
}

impl Disposition {
    /// The word for tables and data.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Counted => "counted",
            Self::Doubted(_) => "doubted",
            Self::Retracted(_) => "retracted",
            Self::NotCounted(_) => "not_counted",
        }
    }

    /// Why the reading was entered as not counted.
    pub const fn reason(self) -> Option<NotCounted> {
        match self {
            Self::NotCounted(reason) => Some(reason),
            Self::Counted | Self::Doubted(_) | Self::Retracted(_) => None,
        }
    }

    pub(super) fn doubted(self, by: Seq) -> Self {
        match self {
            Self::Counted => Self::Doubted(by),
            Self::NotCounted(_) | Self::Doubted(_) | Self::Retracted(_) => self,
        }
    }

    pub(super) fn retracted(self, by: Seq) -> Self {
        match self {
            Self::Counted => Self::Retracted(by),
            Self::NotCounted(_) | Self::Doubted(_) | Self::Retracted(_) => self,
        }
    }

    pub(super) fn restored(self) -> Self {
        match self {
            Self::Retracted(_) => Self::Counted,
            Self::Counted | Self::NotCounted(_) | Self::Doubted(_) => self,
        }
    }
}

impl From<&Standing> for Disposition {
    /// The disposition with which the reading was entered.
    fn from(standing: &Standing) -> Self {
        match standing {
            Standing::Counted => Self::Counted,
            Standing::NotCounted { reason, .. } => Self::NotCounted(*reason),
        }
    }
}

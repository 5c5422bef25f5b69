//! What became of a reading.

use crate::entry::{NotCounted, Seq, Standing};

/// What became of a reading.
///
/// A reading is entered as counting or not. A counting reading can become doubted, which is final, or retracted, which
/// can be undone. The first such entry holds until it is undone; later ones about the same reading change nothing
/// meanwhile.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Disposition {
    /// It counts.
    Counted,
    /// It never counted.
    NotCounted(NotCounted),
    /// It counted, and a zero no longer vouches for it since this entry.
    Doubted(Seq),
    /// It counted, and the operator retracted it in this entry.
    Retracted(Seq),
}

impl Disposition {
    /// As in tables and data.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Counted => "counted",
            Self::Doubted(_) => "doubted",
            Self::Retracted(_) => "retracted",
            Self::NotCounted(_) => "not_counted",
        }
    }

    /// Why it never counted.
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
    /// As it was entered.
    fn from(standing: &Standing) -> Self {
        match standing {
            Standing::Counted => Self::Counted,
            Standing::NotCounted { reason, .. } => Self::NotCounted(*reason),
        }
    }
}

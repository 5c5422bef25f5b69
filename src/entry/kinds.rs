//! What an entry can say: its kinds, in levels of what it is about.
//!
//! In: nothing. Out: [`Entry`], with what a consumer asks of any kind. A new kind is a struct, a line here, and what
//! the compiler then asks for.

use super::journal::{
    Begun, ClockStepped, DamageAccepted, Gap, RolledBack, Segment, Started, Stopped,
};
use super::series::{Alerted, Disarmed, Doubted, Restored, Resumed, Retracted, ZeroDue};
use super::{
    AdapterChanged, AdapterSaid, Attached, Completed, Detached, Disturbed, JournalId, Noted,
    OperatorSaid, Reading, Refused, Seq, Stamped, ToolSaid, Unread, ZeroSaid, Zeroed,
};
use crate::spec::ArmedSpec;
use std::sync::Arc;

/// Where the body of an entry about a station names it.
macro_rules! a_station {
    ($body:ident) => {
        Some(&$body.station)
    };
}

/// The same of an entry about none.
macro_rules! no_station {
    ($body:ident) => {{
        let _ = $body;
        None
    }};
}

/// The levels, of each its kinds, and of each of these its name on disk and its body.
macro_rules! levels {
    ($(
        $(#[$level_doc:meta])*
        $level:ident($of:ident, $kinds:ident) $about:ident {
            $($(#[$doc:meta])* $name:literal $kind:ident($body:ty)),+ $(,)?
        }
    )+) => {
        /// What happened.
        #[derive(Debug, Clone, PartialEq, Eq)]
        pub enum Entry {
            $($(#[$level_doc])* $level($of)),+
        }

        impl Entry {
            /// As on disk: `reading`, `zeroed`, …
            pub const fn kind(&self) -> &'static str {
                match self {
                    $($(Self::$level($of::$kind(_)) => $name),+),+
                }
            }

            /// The station that it is about, if it is about one.
            pub fn station(&self) -> Option<&str> {
                match self {
                    $($(Self::$level($of::$kind(body)) => $about!(body)),+),+
                }
            }
        }

        /// The kind of an entry without its body.
        #[derive(Debug, Clone, Copy, PartialEq, Eq)]
        pub enum Kind {
            $($(#[$level_doc])* $level($kinds)),+
        }

        impl Kind {
            /// The kind that an entry on disk names; `None` of a newer release's.
            pub fn from_name(name: &str) -> Option<Self> {
                match name {
                    $($($name => Some(Self::$level($kinds::$kind)),)+)+
                    _ => None,
                }
            }
        }

        $(
            $(#[$level_doc])*
            #[derive(Debug, Clone, Copy, PartialEq, Eq)]
            pub enum $kinds {
                $($(#[$doc])* $kind),+
            }

            $(#[$level_doc])*
            #[derive(Debug, Clone, PartialEq, Eq)]
            pub enum $of {
                $($(#[$doc])* $kind($body)),+
            }

            $(impl From<$body> for Entry {
                fn from(body: $body) -> Self {
                    Self::$level($of::$kind(body))
                }
            })+
        )+
    };
}

levels! {
    /// What happened to the journal and to the daemon.
    Journal(JournalEntry, JournalKind) no_station {
        /// A new journal.
        "begun" Begun(Begun),
        /// A new segment, with all that the entries before it amount to.
        "segment" Segment(Segment),
        /// The daemon started.
        "started" Started(Started),
        /// The daemon stopped, or read its configuration again (then `Started` follows).
        "stopped" Stopped(Stopped),
        /// Wall clock and monotonic clock parted.
        "clock_stepped" ClockStepped(ClockStepped),
        /// Nothing was recorded for a while.
        "gap" Gap(Gap),
        /// A person accepted that entries before this one are damaged.
        "damage_accepted" DamageAccepted(DamageAccepted),
        /// A person accepted that the journal is not as far as somebody knew it to be.
        "rolled_back" RolledBack(RolledBack),
    }
    /// What the daemon sees of a station's ports.
    Port(PortEntry, PortKind) a_station {
        /// An instrument's port is open.
        "attached" Attached(Attached),
        /// An instrument's port is gone.
        "detached" Detached(Detached),
        /// It is another adapter than before: nothing of it counts until a person has said that it is meant.
        "adapter_changed" AdapterChanged(AdapterChanged),
        /// Something else uses an instrument's port, or has changed its settings.
        "disturbed" Disturbed(Disturbed),
    }
    /// What a person said at a station.
    Said(SaidEntry, SaidKind) a_station {
        /// The adapter that is there is meant.
        "adapter_said" AdapterSaid(AdapterSaid),
        /// The next value is a zero.
        "zero_said" ZeroSaid(ZeroSaid),
        /// Who measures from here on.
        "operator_said" OperatorSaid(OperatorSaid),
        /// Which crimp tool is in the hand.
        "tool_said" ToolSaid(ToolSaid),
        /// A note.
        "noted" Noted(Noted),
        /// What a card or a pedal said and the station could not do.
        "refused" Refused(Refused),
    }
    /// What an instrument sent.
    Frame(FrameEntry, FrameKind) a_station {
        /// A zero.
        "zeroed" Zeroed(Zeroed),
        /// A value.
        "reading" Reading(Arc<Reading>),
        /// Bytes without meaning, or an answer that did not come.
        "unread" Unread(Unread),
    }
    /// What became of a series and of its readings.
    Series(SeriesEntry, SeriesKind) a_station {
        /// A series is open.
        "armed" Armed(Arc<ArmedSpec>),
        /// The operator closed a series.
        "disarmed" Disarmed(Disarmed),
        /// A series is closed.
        "completed" Completed(Completed),
        /// A series that the last arming stopped early is open again.
        "resumed" Resumed(Resumed),
        /// A zero has become due by time.
        "zero_due" ZeroDue(ZeroDue),
        /// Readings that a zero no longer vouches for.
        "doubted" Doubted(Doubted),
        /// A reading that the operator retracted.
        "retracted" Retracted(Retracted),
        /// The last retraction of a series is undone: the reading counts again.
        "restored" Restored(Restored),
        /// A rule over several readings fired.
        "alerted" Alerted(Alerted),
    }
}

impl Entry {
    /// The reading, if it is one.
    pub fn reading(&self) -> Option<&Arc<Reading>> {
        if let Self::Frame(FrameEntry::Reading(reading)) = self {
            return Some(reading);
        }
        None
    }

    /// The journal that it names, if it stands at the beginning of a segment.
    pub fn opens(&self) -> Option<&JournalId> {
        if let Self::Journal(
            JournalEntry::Begun(Begun { journal }) | JournalEntry::Segment(Segment { journal, .. }),
        ) = self
        {
            return Some(journal);
        }
        None
    }
}

impl Stamped {
    /// The series that it is about; a series begins with its `armed`, whose number it has.
    pub fn series(&self) -> Option<Seq> {
        match &self.entry {
            Entry::Journal(_) | Entry::Port(_) => None,
            Entry::Said(entry) => match entry {
                SaidEntry::OperatorSaid(said) => said.series,
                SaidEntry::ToolSaid(said) => said.series,
                SaidEntry::Noted(noted) => noted.series,
                SaidEntry::AdapterSaid(_) | SaidEntry::ZeroSaid(_) | SaidEntry::Refused(_) => None,
            },
            Entry::Frame(entry) => match entry {
                FrameEntry::Zeroed(zeroed) => zeroed.series,
                FrameEntry::Reading(reading) => reading.slot.as_ref().map(|slot| slot.series),
                FrameEntry::Unread(_) => None,
            },
            Entry::Series(entry) => Some(match entry {
                SeriesEntry::Armed(_) => self.seq,
                SeriesEntry::Disarmed(body) => body.series,
                SeriesEntry::Completed(body) => body.series,
                SeriesEntry::Resumed(body) => body.series,
                SeriesEntry::ZeroDue(body) => body.series,
                SeriesEntry::Doubted(body) => body.series,
                SeriesEntry::Retracted(body) => body.series,
                SeriesEntry::Restored(body) => body.series,
                SeriesEntry::Alerted(body) => body.series,
            }),
        }
    }
}

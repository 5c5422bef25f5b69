//! The kinds of entry, grouped by what they are about.
//!
//! A new kind needs a struct and a line in the table below; the compiler then names every match that must handle it.

use super::answers::{Looked, Pulled};
use super::journal::{
    Begun, ClockStepped, ConfigurationEdited, DamageAccepted, Gap, RolledBack, Segment, Started,
    Stopped,
};
use super::production::{Crimped, Held, RunClosed, RunOpened, SampleDue, Settled};
use super::seal::{KeyBegun, Sealed};
use super::series::{Alerted, Disarmed, Doubted, Restored, Resumed, Retracted, ZeroDue};
use super::{
    AdapterChanged, AdapterSaid, Attached, Completed, Detached, Disturbed, JobSaid, JournalId,
    LotSaid, Noted, OperatorSaid, Paired, Pictured, Reading, Refused, Revoked, Seq, Stamped,
    TabletSaid, ToolSaid, Unread, ZeroSaid, Zeroed,
};
use crate::spec::ArmedSpec;
use std::sync::Arc;

/// Gives the station of an entry whose body has a field for it.
macro_rules! a_station {
    ($body:ident) => {
        Some(&$body.station)
    };
}

/// The counterpart for entries that belong to no station.
macro_rules! no_station {
    ($body:ident) => {{
        let _ = $body;
        None
    }};
}

/// From the table of levels and kinds, makes an enum for each level, `Entry` over them, and the names on disk.
macro_rules! levels {
    ($(
        $(#[$level_doc:meta])*
        $level:ident($of:ident, $kinds:ident) $about:ident {
            $($(#[$doc:meta])* $name:literal $kind:ident($body:ty)),+ $(,)?
        }
    )+) => {
        /// One journal entry, by level.
        #[derive(Debug, Clone, PartialEq, Eq)]
        pub enum Entry {
            $($(#[$level_doc])* $level($of)),+
        }

        impl Entry {
            /// Name of the kind on disk: `reading`, `zeroed`, …
            pub const fn kind(&self) -> &'static str {
                match self {
                    $($(Self::$level($of::$kind(_)) => $name),+),+
                }
            }

            /// The station that the entry is about, if any.
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
            /// The kind with this name on disk; `None` if this release does not know it.
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
    /// About the journal and the daemon.
    Journal(JournalEntry, JournalKind) no_station {
        /// A new journal begins.
        "begun" Begun(Begun),
        /// A new segment begins, with the state that follows from the entries before it.
        "segment" Segment(Segment),
        /// The daemon started.
        "started" Started(Started),
        /// The daemon stopped, or read its configuration again (then `Started` follows).
        "stopped" Stopped(Stopped),
        /// The wall clock was set.
        "clock_stepped" ClockStepped(ClockStepped),
        /// Nothing was recorded for a time.
        "gap" Gap(Gap),
        /// A person accepted that entries before this one are damaged.
        "damage_accepted" DamageAccepted(DamageAccepted),
        /// A person accepted that the journal lacks entries that somebody knew.
        "rolled_back" RolledBack(RolledBack),
        /// A tablet was paired with the bench page.
        "paired" Paired(Paired),
        /// The pairing of a tablet was revoked.
        "revoked" Revoked(Revoked),
        /// The entries before this one came from a tablet's command.
        "tablet_said" TabletSaid(TabletSaid),
        /// A person changed the configuration on the page.
        "configuration_edited" ConfigurationEdited(ConfigurationEdited),
        /// A signing key is in use from here on.
        "key_begun" KeyBegun(KeyBegun),
        /// All entries up to one were sealed with the signing key.
        "sealed" Sealed(Sealed),
    }
    /// About the ports of a station.
    Port(PortEntry, PortKind) a_station {
        /// The port of an instrument, scanner or pedal was opened.
        "attached" Attached(Attached),
        /// The port of an instrument, scanner or pedal is gone.
        "detached" Detached(Detached),
        /// A port has another adapter than before. Its values do not count until a person confirms it.
        "adapter_changed" AdapterChanged(AdapterChanged),
        /// Another program uses an instrument's port, or has changed its settings.
        "disturbed" Disturbed(Disturbed),
    }
    /// What a person said at a station.
    Said(SaidEntry, SaidKind) a_station {
        /// A person confirmed the adapter that is there now.
        "adapter_said" AdapterSaid(AdapterSaid),
        /// A person announced that the next value is a zero.
        "zero_said" ZeroSaid(ZeroSaid),
        /// The operator changed.
        "operator_said" OperatorSaid(OperatorSaid),
        /// The crimp tool in use changed.
        "tool_said" ToolSaid(ToolSaid),
        /// What the pieces are for.
        "job_said" JobSaid(JobSaid),
        /// Which reel of terminals or spool of wire is in use.
        "lot_said" LotSaid(LotSaid),
        /// A person made a note.
        "noted" Noted(Noted),
        /// A command by card or pedal was refused.
        "refused" Refused(Refused),
    }
    /// What an instrument sent.
    Frame(FrameEntry, FrameKind) a_station {
        /// A zero check.
        "zeroed" Zeroed(Zeroed),
        /// A value that is no zero.
        "reading" Reading(Arc<Reading>),
        /// Bytes that could not be read, or a request without an answer.
        "unread" Unread(Unread),
    }
    /// What happened to a series and its readings.
    Series(SeriesEntry, SeriesKind) a_station {
        /// A series was opened, empty: its slots are `pieces` times the number of `axes`, and every other count is 0.
        "armed" Armed(Arc<ArmedSpec>),
        /// The operator closed a series.
        "disarmed" Disarmed(Disarmed),
        /// A series was closed.
        "completed" Completed(Completed),
        /// A series that the last start stopped early was opened again.
        "resumed" Resumed(Resumed),
        /// A zero became due by time.
        "zero_due" ZeroDue(ZeroDue),
        /// Readings were put in doubt.
        "doubted" Doubted(Doubted),
        /// The operator retracted a reading.
        "retracted" Retracted(Retracted),
        /// The operator restored a retracted reading: it counts again.
        "restored" Restored(Restored),
        /// A run rule fired.
        "alerted" Alerted(Alerted),
        /// A visual check was answered.
        "looked" Looked(Looked),
        /// How a pull test failed was answered.
        "pulled" Pulled(Pulled),
        /// A picture was taken in.
        "pictured" Pictured(Pictured),
    }
    /// About production runs.
    Production(ProductionEntry, ProductionKind) a_station {
        /// A good first-off sample opened a production run.
        "run_opened" RunOpened(RunOpened),
        /// Crimps were counted.
        "crimped" Crimped(Crimped),
        /// A sample became due by time.
        "sample_due" SampleDue(SampleDue),
        /// Crimps of a production run are held.
        "held" Held(Held),
        /// A person decided what becomes of held crimps.
        "settled" Settled(Settled),
        /// A production run was closed.
        "run_closed" RunClosed(RunClosed),
    }
}

impl Entry {
    /// The reading in this entry, if it is one.
    pub fn reading(&self) -> Option<&Arc<Reading>> {
        if let Self::Frame(FrameEntry::Reading(reading)) = self {
            return Some(reading);
        }
        None
    }

    /// The journal's identity, if this entry begins a segment.
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
    /// The series that the entry is about. The id of a series is the number of its `armed` entry.
    pub fn series(&self) -> Option<Seq> {
        match &self.entry {
            Entry::Journal(_) | Entry::Port(_) => None,
            Entry::Production(entry) => match entry {
                ProductionEntry::RunOpened(body) => Some(body.series),
                ProductionEntry::Held(body) => Some(body.series),
                ProductionEntry::RunClosed(body) => Some(body.series),
                ProductionEntry::Crimped(_)
                | ProductionEntry::SampleDue(_)
                | ProductionEntry::Settled(_) => None,
            },
            Entry::Said(entry) => match entry {
                SaidEntry::OperatorSaid(said) => said.series,
                SaidEntry::ToolSaid(said) => said.series,
                SaidEntry::JobSaid(said) => said.series,
                SaidEntry::LotSaid(said) => said.series,
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
                SeriesEntry::Looked(body) => body.series,
                SeriesEntry::Pulled(body) => body.series,
                SeriesEntry::Pictured(body) => body.series,
            }),
        }
    }
}

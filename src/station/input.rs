//! What goes into the core and what comes out of it.

use crate::entry::{Attached, Entry, JournalId, Means, Seq, Stamped};
use crate::quantity::MonoMicros;
use crate::spec::{Catalog, Plan};
use std::sync::Arc;
use std::time::Duration;

/// Everything that can happen to the core.
#[derive(Debug)]
pub enum Input<'a> {
    /// The journal is new; this is its name.
    Begun(JournalId),
    /// The daemon has started, or has read its configuration again.
    Started {
        /// The program's version.
        version: &'a str,
        /// SHA-256 of the configuration files, hex.
        config_digest: &'a str,
    },
    /// The daemon is about to stop.
    Stopping {
        /// Why: `SIGTERM`, …
        reason: &'a str,
    },
    /// A new configuration is in force; `Started` follows.
    Reloaded(Arc<Catalog>),
    /// An instrument's port is open.
    PortOpened(Attached),
    /// An instrument's port is gone.
    PortClosed {
        /// Its name in the configuration.
        instrument: &'a str,
        /// Why, in words.
        reason: &'a str,
    },
    /// Bytes of an instrument, in whatever pieces they were read.
    Bytes {
        /// Its name in the configuration.
        instrument: &'a str,
        /// As they were read; a frame may be spread over several inputs.
        bytes: &'a [u8],
    },
    /// Bytes that the line spoiled (parity, framing, a break), in their place among the others.
    Spoiled {
        /// Its name in the configuration.
        instrument: &'a str,
        /// As they were read; a frame may be spread over several inputs.
        bytes: &'a [u8],
    },
    /// Bytes that were waiting when an instrument's port was opened: nobody knows what they are of.
    Stale {
        /// Its name in the configuration.
        instrument: &'a str,
        /// As they were read; a frame may be spread over several inputs.
        bytes: &'a [u8],
    },
    /// Other programs have the port open too, or have changed its settings.
    Disturbed {
        /// Its name in the configuration.
        instrument: &'a str,
        /// Those that have it open beside us now.
        holders: &'a [String],
        /// The settings that were found, and set back.
        settings: Option<&'a str>,
    },
    /// Bytes may be missing from here on: what comes next may be the rest of a frame.
    OutOfStep {
        /// Its name in the configuration.
        instrument: &'a str,
        /// Behind what, in words.
        behind: &'static str,
    },
    /// Nothing came from an instrument for a while, and nothing of it waited to be read then. Bytes show no
    /// silence before them: they may have waited while whoever reads them stood still.
    Quiet {
        /// Its name in the configuration.
        instrument: &'a str,
        /// How long, since the last bytes; this may come late.
        lasted: Duration,
    },
    /// A pedal's contact on a modem line.
    Contact {
        /// The pedal.
        instrument: &'a str,
        /// It closed, or opened.
        closed: bool,
    },
    /// The journal's segment is full: open the next one.
    SegmentFull,
    /// Something happened to the journal itself: a gap, damage that was accepted, or a rollback.
    Journal(Entry),
    /// The time of [`Output::WaitUntil`] has come.
    Woken,
}

/// What a person says to a station, by whatever means. `station` may be left out where there is one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Command {
    /// Open a series.
    Arm {
        /// Its name in the configuration; none where there is one station.
        station: Option<String>,
        /// What to measure.
        what: Armable,
        /// Who measures, if said.
        operator: Option<String>,
        /// Stop a series that is open, without being asked to say so again.
        cut: bool,
    },
    /// Open the series again that the last arming stopped early.
    Resume {
        /// Its name in the configuration; none where there is one station.
        station: Option<String>,
        /// By what means it was said.
        by: Means,
    },
    /// Close the open series.
    Disarm {
        /// Its name in the configuration; none where there is one station.
        station: Option<String>,
    },
    /// Retract a reading; the last one unless named.
    Retract {
        /// Its name in the configuration; none where there is one station.
        station: Option<String>,
        /// The reading's entry.
        seq: Option<Seq>,
        /// Why; must be said where measuring destroyed the piece.
        reason: Option<String>,
        /// By what means it was said.
        by: Means,
    },
    /// Undo the last retraction.
    Restore {
        /// Its name in the configuration; none where there is one station.
        station: Option<String>,
        /// By what means it was said.
        by: Means,
    },
    /// Say who measures.
    Operator {
        /// Its name in the configuration; none where there is one station.
        station: Option<String>,
        /// Name or initials, as the person gave them.
        operator: String,
    },
    /// Say which crimp tool is in the hand.
    Tool {
        /// Its name in the configuration; none where there is one station.
        station: Option<String>,
        /// The tool's id.
        tool: String,
        /// The nest, if said.
        nest: Option<String>,
    },
    /// Keep a remark.
    Note {
        /// Its name in the configuration; none where there is one station.
        station: Option<String>,
        /// The words.
        text: String,
    },
    /// Ask the instrument for a value.
    Ask {
        /// Its name in the configuration; none where there is one station.
        station: Option<String>,
        /// The instrument; may be left out where one alone can be asked.
        instrument: Option<String>,
    },
    /// The adapter that an instrument's port is now is the one that is meant.
    Adapter {
        /// Its name in the configuration; none where there is one station.
        station: Option<String>,
        /// The instrument; may be left out where one alone is another adapter than before.
        instrument: Option<String>,
        /// By what means it was said.
        by: Means,
    },
    /// The next value is a zero.
    Zero {
        /// Its name in the configuration; none where there is one station.
        station: Option<String>,
        /// The instrument; may be left out where the station has one.
        instrument: Option<String>,
    },
}

/// What can be armed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Armable {
    /// A plan of the configuration.
    Named(String),
    /// A plan given whole.
    Inline(Box<Plan>),
}

/// Everything the core can ask for.
#[derive(Debug, PartialEq, Eq)]
pub enum Output {
    /// Append this; whatever is shown is read back from the journal.
    Append(Stamped),
    /// Send these bytes to an instrument.
    Send {
        /// Its name in the configuration.
        instrument: String,
        /// The bytes that ask it for a value.
        bytes: Vec<u8>,
    },
    /// Drained. Wait for a new input, and no longer than this.
    WaitUntil(Option<MonoMicros>),
}

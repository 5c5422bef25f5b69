//! What the core is given, and what it returns.

use crate::entry::{Answer, Attached, Entry, JournalId, Means, PictureFile, Refused, Seq, Stamped};
use crate::quantity::MonoMicros;
use crate::spec::{Catalog, Job, Material, Plan, PullMode, Settlement};
use std::sync::Arc;
use std::time::Duration;

/// Everything that can happen to the core, from start to stop.
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
    /// The daemon will stop; every open frame ends here.
    Stopping {
        /// Why it stops, for example `SIGTERM`.
        reason: &'a str,
    },
    /// A new configuration is in force; `Started` follows.
    Reloaded(Arc<Catalog>),
    /// An instrument's port is open.
    PortOpened(Attached),
    /// An instrument's port is gone.
    PortClosed {
        /// The instrument's name in the configuration.
        instrument: &'a str,
        /// Why the port is gone, in words for the journal.
        reason: &'a str,
    },
    /// Bytes of an instrument, scanner or pedal.
    Bytes {
        /// The instrument's name in the configuration.
        instrument: &'a str,
        /// In any pieces: a frame may be spread over several inputs.
        bytes: &'a [u8],
    },
    /// Bytes that arrived with a line error (parity, framing, break), in order with the good bytes.
    Spoiled {
        /// The instrument's name in the configuration.
        instrument: &'a str,
        /// In any pieces: a frame may be spread over several inputs.
        bytes: &'a [u8],
    },
    /// Bytes that were waiting when the port was opened. Their time is unknown, so they are entered as unread.
    Stale {
        /// The instrument's name in the configuration.
        instrument: &'a str,
        /// In any pieces: a frame may be spread over several inputs.
        bytes: &'a [u8],
    },
    /// Other programs have the port open too, or have changed its line settings.
    Disturbed {
        /// The instrument's name in the configuration.
        instrument: &'a str,
        /// Programs that have the port open beside the daemon, as `cat (pid 12)`; empty if none.
        holders: &'a [String],
        /// Line settings that another program had set, and that were corrected; `None` if they were right.
        settings: Option<&'a str>,
    },
    /// Bytes may have been lost here: the next ones may be the rest of a frame.
    OutOfStep {
        /// The instrument's name in the configuration.
        instrument: &'a str,
        /// What caused the loss, in words for the journal.
        behind: &'static str,
    },
    /// The port was silent, and no bytes were waiting to be read. The daemon measures this, because the arrival of
    /// bytes does not show it: they may have waited in a buffer while the daemon was not running.
    Quiet {
        /// The instrument's name in the configuration.
        instrument: &'a str,
        /// Time since the last bytes. It may be reported late.
        lasted: Duration,
    },
    /// A pedal's contact on a modem line changed.
    Contact {
        /// The pedal's name in the configuration.
        instrument: &'a str,
        /// `true` if the contact closed, `false` if it opened.
        closed: bool,
    },
    /// The journal's segment has reached its size; the next one begins.
    SegmentFull,
    /// Something happened to the journal itself: a gap, damage that was accepted, or a rollback.
    Journal(Entry),
    /// The time of [`Output::WaitUntil`] has come.
    Woken,
}

/// What a person tells a station to do by card, pedal, page or command line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Command {
    /// Open a series.
    Arm {
        /// The station's name; `None` where there is only one.
        station: Option<String>,
        /// A plan of the configuration, or one given whole.
        what: Armable,
        /// Operator of the series; `None` keeps the station's operator.
        operator: Option<String>,
        /// Stop the open series early without asking for the command to be repeated.
        cut: bool,
    },
    /// Open the series again that the last start stopped early.
    Resume {
        /// The station's name; `None` where there is only one.
        station: Option<String>,
        /// How the command was given.
        by: Means,
    },
    /// Close the open series.
    Disarm {
        /// The station's name; `None` where there is only one.
        station: Option<String>,
    },
    /// Retract a counted reading.
    Retract {
        /// The station's name; `None` where there is only one.
        station: Option<String>,
        /// Number of the reading's entry; `None` for the last counted reading.
        seq: Option<Seq>,
        /// Required where measuring destroyed the piece.
        reason: Option<String>,
        /// How the command was given.
        by: Means,
    },
    /// Undo the last retraction.
    Restore {
        /// The station's name; `None` where there is only one.
        station: Option<String>,
        /// How the command was given.
        by: Means,
    },
    /// Answer a visual check.
    Look {
        /// The station's name; `None` where there is only one.
        station: Option<String>,
        /// Which of the plan's visual checks, from 1.
        look: u32,
        /// The piece; `None` for the one for which the check is due, or that was answered last.
        piece: Option<u32>,
        /// Good or bad.
        answer: Answer,
        /// How the command was given.
        by: Means,
    },
    /// Answer how a pull test failed.
    Pulled {
        /// The station's name; `None` where there is only one.
        station: Option<String>,
        /// The piece; `None` for the one that was pulled last.
        piece: Option<u32>,
        /// How it failed.
        mode: PullMode,
        /// How the command was given.
        by: Means,
    },
    /// Enter a picture.
    Picture(Picture),
    /// Enter that a file in the station's folder of pictures was refused.
    PictureRefused(Refused),
    /// Set the operator.
    Operator {
        /// The station's name; `None` where there is only one.
        station: Option<String>,
        /// Name or initials, 1 to 100 characters.
        operator: String,
    },
    /// Set the crimp tool in use.
    Tool {
        /// The station's name; `None` where there is only one.
        station: Option<String>,
        /// The tool's id in the configuration.
        tool: String,
        /// The nest used; `None` if it was not given.
        nest: Option<String>,
    },
    /// Set what the pieces are for.
    Job {
        /// The station's name; `None` where there is only one.
        station: Option<String>,
        /// The job with its details; `None` once the last job is finished.
        job: Option<Job>,
    },
    /// Set which reel of terminals or spool of wire is in use.
    Lot {
        /// The station's name; `None` where there is only one.
        station: Option<String>,
        /// The material of the lot.
        material: Material,
        /// The number of the lot; `None` if it is not known.
        lot: Option<String>,
    },
    /// Count crimps.
    Crimps {
        /// The station's name; `None` where there is only one.
        station: Option<String>,
        /// The number of crimps since the last count.
        crimps: u32,
        /// How the command was given.
        by: Means,
    },
    /// Decide what becomes of held crimps.
    Settle {
        /// The station's name; `None` where there is only one.
        station: Option<String>,
        /// Which crimps, and what becomes of them.
        what: Settling,
    },
    /// Add a remark to the journal.
    Note {
        /// The station's name; `None` where there is only one.
        station: Option<String>,
        /// The remark, at most 4096 bytes.
        text: String,
    },
    /// Request a value from an instrument.
    Ask {
        /// The station's name; `None` where there is only one.
        station: Option<String>,
        /// The instrument's name; `None` where only one answers requests.
        instrument: Option<String>,
    },
    /// Confirm the adapter that is now on an instrument's port.
    Adapter {
        /// The station's name; `None` where there is only one.
        station: Option<String>,
        /// The instrument's name; `None` where only one has a new adapter.
        instrument: Option<String>,
        /// How the command was given.
        by: Means,
    },
    /// Announce that the next value is a zero.
    Zero {
        /// The station's name; `None` where there is only one.
        station: Option<String>,
        /// The instrument's name; `None` where the station has one, or where only one zero is due.
        instrument: Option<String>,
    },
}

/// What a person decides about held crimps.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Settling {
    /// Number of the entry `held`; `None` where only one is not settled.
    pub held: Option<Seq>,
    /// The number of its crimps; `None` for all that are left.
    pub crimps: Option<u64>,
    /// What becomes of them.
    pub settlement: Settlement,
    /// The person's reason.
    pub reason: String,
    /// How the command was given.
    pub by: Means,
}

/// A picture, and its subject.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Picture {
    /// The station's name; `None` where there is only one.
    pub station: Option<String>,
    /// The series; `None` for the open one, or the one closed within the last ten minutes. The daemon has already found
    /// a closed series and its piece in the journal.
    pub series: Option<Seq>,
    /// The piece; `None` for the one measured last, or with `series` for the series as a whole.
    pub piece: Option<u32>,
    /// The picture's file, which is durable.
    pub file: PictureFile,
    /// How the picture came.
    pub by: Means,
}

/// What a command can arm.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Armable {
    /// The plan of this id in the configuration.
    Named(String),
    /// A plan that is not in the configuration.
    Inline(Box<Plan>),
}

/// Everything that the core asks of the daemon.
#[derive(Debug, PartialEq, Eq)]
pub enum Output {
    /// Append this entry to the journal. Screens show it only after it was read back from there.
    Append(Stamped),
    /// Send these bytes to an instrument.
    Send {
        /// The instrument's name in the configuration.
        instrument: String,
        /// The request, as configured.
        bytes: Vec<u8>,
    },
    /// Nothing more to do. Wait for an input, at most until this time.
    WaitUntil(Option<MonoMicros>),
}

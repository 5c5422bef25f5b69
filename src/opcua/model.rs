//! The table of what is served: the members of each type, and the key of the feed's JSON that each one is.
//!
//! One table makes the variables of an object and the fields of the event that says the same; `value` reads the JSON by it.
//!
//! Names and types of members that say what a member of an open specification says are taken from there, which
//! tests/scripts/opcua.py compares with its model file:
//!
//! - OPC 40001-101 (machinery, result transfer), `ResultMetaDataType` and `ResultEvaluationEnum`: `ResultId`,
//!   `CreationTime`, `ResultEvaluation`, `JobId`;
//! - OPC 40450-1 (joining systems, base), `ResultValueDataType`: `MeasuredValue`, `TargetValue`, `LowLimit`, `HighLimit`,
//!   `EngineeringUnits`, `SensorId`.
//!
//! All other names are ours.

/// The form of a member.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Form {
    /// Text.
    Text,
    /// Texts.
    Texts,
    /// A whole number.
    Whole,
    /// Whole numbers.
    Wholes,
    /// A number as it is.
    Number,
    /// Yes or no.
    Flag,
    /// A time, UTC.
    Time,
    /// Nanometres or millinewtons, as millimetres or newtons.
    Amount,
    /// Their unit: millimetre or newton.
    Unit,
    /// A verdict or an outcome, by which a result is good or not.
    Evaluation,
    /// The identity of an entry: journal and number.
    Id,
    /// The text under this key, of each axis.
    TextOfEach(&'static str),
    /// The amount under the first of these keys, of each axis; `NaN` where an axis has none.
    AmountOfEach([&'static str; 2]),
}

/// A variable of an object, or a field of an event.
#[derive(Debug)]
pub(super) struct Member {
    pub(super) name: &'static str,
    pub(super) form: Form,
    /// Where it stands in the JSON; the first one that is there.
    pub(super) at: &'static [&'static str],
    pub(super) about: &'static str,
}

/// A member on each line: name, form, where it stands, and what it is.
macro_rules! members {
    ($($name:literal: $form:expr => $at:expr, $about:literal;)+) => {
        &[$(Member { name: $name, form: $form, at: &$at, about: $about }),+]
    };
}

/// A type of object, with its members.
#[derive(Debug)]
pub(super) struct Kind {
    pub(super) name: &'static str,
    pub(super) about: &'static str,
    pub(super) members: &'static [Member],
}

/// The bench, which is the daemon with its journal.
pub(super) const BENCH: Kind = Kind {
    name: "BenchType",
    about: "The bench: a daemon with its journal",
    members: members! {
        "Journal": Form::Text => ["/journal"], "Identity of the journal";
        "Seq": Form::Whole => ["/seq"], "Number of the newest entry";
        "Connected": Form::Flag => ["/connected"], "Whether the daemon serves its feed now";
    },
};

/// A place where one person measures.
pub(super) const STATION: Kind = Kind {
    name: "StationType",
    about: "A place where one person measures",
    members: members! {
        "Prompt": Form::Text => ["/prompt"], "What to do next, in words";
        "PromptKind": Form::Text => ["/prompt_kind"], "What to do next, for programs";
        "Operator": Form::Text => ["/operator"], "Who measures";
        "JobId": Form::Text => ["/job/id"], "What the pieces are for";
        "TerminalLot": Form::Text => ["/terminal_lot"], "Lot of the terminals in use";
        "WireLot": Form::Text => ["/wire_lot"], "Lot of the wire in use";
        "Tool": Form::Text => ["/tool/id"], "Crimp tool in use";
        "Nest": Form::Text => ["/tool/nest"], "Nest of the tool in use";
        "NextPiece": Form::Whole => ["/next/piece"], "Piece that is measured next, from 1";
        "NextAxis": Form::Text => ["/next/axis"], "Axis that is measured next";
        "Run": Form::Text => ["/production/open/run_id"], "Open production run";
        "RunCrimps": Form::Whole => ["/production/open/crimps"], "Crimps of the open run";
        "SampleDue": Form::Flag => ["/production/open/due"], "Whether a sample of the open run is due";
    },
};

/// The open series.
pub(super) const ARMED: Kind = Kind {
    name: "ArmedType",
    about: "The open series, by which readings are judged",
    members: members! {
        "Series": Form::Whole => ["/series"], "Number of the series";
        "Since": Form::Time => ["/since"], "When it was opened";
        "Plan": Form::Text => ["/plan"], "Plan of the series";
        "Purpose": Form::Text => ["/purpose"], "What the pieces are measured for";
        "Terminal": Form::Text => ["/terminal"], "Terminal";
        "Wire": Form::Text => ["/wire"], "Wire in words";
        "JobId": Form::Text => ["/job/id"], "What the pieces are for";
        "Tool": Form::Text => ["/tool/id"], "Crimp tool of the series";
        "Pieces": Form::Whole => ["/pieces"], "Number of pieces";
        "Slots": Form::Whole => ["/slots"], "Number of readings that make it full";
        "Filled": Form::Whole => ["/filled"], "Number of counted readings so far";
        "DoubtedLeft": Form::Whole => ["/counts/doubted_left"], "Readings to take again because of a zero";
        "Axes": Form::TextOfEach("axis") => ["/axes"], "Axes that are measured";
        "Limits": Form::TextOfEach("limits") => ["/axes"], "Limits of each axis, in words";
        "TargetValues": Form::AmountOfEach(["nominal_nm", "nominal_mn"]) => ["/axes"], "Nominal value of each axis, mm or N";
        "LowLimits": Form::AmountOfEach(["lower_nm", "lower_mn"]) => ["/axes"], "Lower limit of each axis, mm or N";
        "HighLimits": Form::AmountOfEach(["upper_nm", "upper_mn"]) => ["/axes"], "Upper limit of each axis, mm or N";
    },
};

/// A reading, as the last one of a station and as an event.
pub(super) const READING: Kind = Kind {
    name: "ReadingType",
    about: "A reading with its verdict",
    members: members! {
        "ResultId": Form::Id => ["/seq"], "Journal and number of the entry";
        "Seq": Form::Whole => ["/seq"], "Number of the entry";
        "CreationTime": Form::Time => ["/at"], "When it was measured";
        "ResultEvaluation": Form::Evaluation => ["/verdict"], "Whether it is within its limits";
        "Verdict": Form::Text => ["/verdict"], "Verdict in our words";
        "Standing": Form::Text => ["/standing"], "counted or not_counted, as decided when it was entered";
        "Reason": Form::Text => ["/reason"], "Why it does not count";
        "MeasuredValue": Form::Amount => ["/value_nm", "/value_mn"], "Value in millimetres or newtons";
        "EngineeringUnits": Form::Unit => ["/value_nm", "/value_mn"], "Unit of value and limits";
        "TargetValue": Form::Amount => ["/nominal_nm", "/nominal_mn"], "Nominal value";
        "LowLimit": Form::Amount => ["/lower_nm", "/lower_mn"], "Lower limit";
        "HighLimit": Form::Amount => ["/upper_nm", "/upper_mn"], "Upper limit";
        "SensorId": Form::Text => ["/instrument"], "Instrument";
        "Series": Form::Whole => ["/series"], "Number of the series";
        "Piece": Form::Whole => ["/piece"], "Number of the piece, from 1";
        "Axis": Form::Text => ["/axis"], "What was measured";
        "Terminal": Form::Text => ["/terminal"], "Terminal";
        "WireArea": Form::Number => ["/wire_mm2"], "Conductor size in mm²";
    },
};

/// The outcome of a closed series, as the last one of a station and as an event.
pub(super) const OUTCOME: Kind = Kind {
    name: "OutcomeType",
    about: "The outcome of a closed series",
    members: members! {
        "ResultId": Form::Id => ["/series"], "Journal and number of the series";
        "Series": Form::Whole => ["/series"], "Number of the series";
        "CreationTime": Form::Time => ["/at"], "When it was closed";
        "ResultEvaluation": Form::Evaluation => ["/outcome"], "Whether the series is good";
        "Outcome": Form::Text => ["/outcome"], "Outcome in our words";
        "Reservations": Form::Texts => ["/reservations"], "What limits the outcome";
        "Slots": Form::Whole => ["/counts/slots"], "Number of readings that make it full";
        "Filled": Form::Whole => ["/counts/filled"], "Number of counted readings";
        "Passed": Form::Whole => ["/tally/passed"], "Counted readings within their limits";
        "Failed": Form::Whole => ["/tally/failed"], "Counted readings outside";
        "Unsure": Form::Whole => ["/tally/unsure"], "Counted readings too close to a limit";
        "Measured": Form::Whole => ["/tally/measured"], "Counted readings without limits";
        "Doubted": Form::Whole => ["/tally/doubted"], "Readings doubted because of a zero";
        "Retracted": Form::Whole => ["/tally/retracted"], "Readings retracted";
        "NotCounted": Form::Whole => ["/tally/not_counted"], "Readings that never counted";
    },
};

/// A caliper or a force gauge.
pub(super) const INSTRUMENT: Kind = Kind {
    name: "InstrumentType",
    about: "A caliper or a force gauge",
    members: members! {
        "Station": Form::Text => ["/station"], "Its station";
        "Attached": Form::Flag => ["/attached"], "Whether its port is open";
        "Port": Form::Text => ["/port"], "Path of the port";
        "Identity": Form::Text => ["/identity"], "Vendor, product and serial number of the adapter";
        "DetachedBecause": Form::Text => ["/detached_because"], "Why the port was closed";
    },
};

/// Any entry of the journal, as an event.
pub(super) const ENTRY: Kind = Kind {
    name: "EntryEventType",
    about: "An entry of the journal that is durable now",
    members: members! {
        "Journal": Form::Text => ["/journal"], "Identity of the journal";
        "Seq": Form::Whole => ["/seq"], "Number of the entry: 1, 2, 3 … without gaps";
        "Kind": Form::Text => ["/kind"], "Kind of the entry";
        "Station": Form::Text => ["/station"], "Station that it is about";
        "Entry": Form::Text => ["/entry"], "The entry as JSON, byte for byte as stored";
    },
};

/// What an entry says of readings before it, as an event.
pub(super) const STANDING: Kind = Kind {
    name: "StandingType",
    about: "What became of readings: doubted, retracted or restored",
    members: members! {
        "Readings": Form::Wholes => ["/readings", "/reading"], "Numbers of their entries";
        "Series": Form::Whole => ["/series"], "Number of the series";
    },
};

/// Entries that have an event type of their own, below the one of any entry: kind, name of the type, members.
pub(super) const EVENTS: [(&[&str], &str, &Kind); 3] = [
    (&["reading"], "ReadingEventType", &READING),
    (&["completed"], "OutcomeEventType", &OUTCOME),
    (
        &["doubted", "retracted", "restored"],
        "StandingEventType",
        &STANDING,
    ),
];

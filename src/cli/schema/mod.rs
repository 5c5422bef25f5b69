//! `tallyjaw schema`: exit 0.

use super::{Context, Exit, Failure};
use crate::export::sql_table;
use crate::message::{VERSION, schema};
use serde_json::{Map, Value};
use std::io::Write;

/// Print what entries, feed, control socket and configuration are made of, as JSON Schema (2020-12)
///
/// It gives every field with its meaning and unit. Without a name it lists the schemas; with --json it prints all of
/// them in one object.
///
/// Fields may be added within a version, so no schema refuses a field of entry or feed that it does not know.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  tallyjaw schema                                   which there are
  tallyjaw schema entry > entry.schema.json         a line of the journal
  tallyjaw schema --json | jq .control              out of all of them
  tallyjaw schema --sql | psql shop                 make the tables of a [[sink]] of kind \"postgres\"")]
pub(super) struct SchemaCommand {
    /// The schema to print
    #[arg(value_enum)]
    of: Option<Of>,
    /// Print the statements that make the tables of a [[sink]] of the kind "postgres"
    #[arg(long, conflicts_with = "of")]
    sql: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Of {
    /// A line of the journal, of `export jsonl`, and of a broker's TOPIC/entries
    Entry,
    /// A line of the feed: hello, state, notices, entries; and what a client may send
    Feed,
    /// A line of the control socket: requests and their answers
    Control,
    /// The configuration's main file, and in it those of sheets, plans and tools
    Config,
    /// The text in the QR code of a label
    Label,
    /// The answer of `nests --json`
    Nests,
    /// A line of `tallyjaw qualified --json`
    Qualified,
    /// The state of the page: the answer of /state
    Page,
    /// The data of an event of /events
    Events,
    /// A series: the answer of /series/N, a line of `series --json`
    Series,
    /// A retained message at a broker
    Retained,
    /// The names of the samples in /metrics
    Metrics,
}

impl SchemaCommand {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        if self.sql {
            write!(out, "{}", sql_table::tables())?;
            return Ok(Exit::Yes);
        }
        match (self.of, context.json) {
            (Some(of), true) => writeln!(out, "{}", of.schema())?,
            (Some(of), false) => writeln!(out, "{:#}", of.schema())?,
            (None, true) => {
                let all = Of::ALL.map(|of| (of.name().to_owned(), of.schema()));
                writeln!(out, "{}", Value::Object(Map::from_iter(all)))?;
            }
            (None, false) => {
                for of in Of::ALL {
                    writeln!(out, "{:9} {}", of.name(), of.says())?;
                }
                writeln!(
                    out,
                    "\none of them: tallyjaw schema entry; all in one object: tallyjaw schema --json"
                )?;
            }
        }
        Ok(Exit::Yes)
    }
}

impl Of {
    const ALL: [Self; 12] = [
        Self::Entry,
        Self::Feed,
        Self::Control,
        Self::Config,
        Self::Label,
        Self::Nests,
        Self::Qualified,
        Self::Page,
        Self::Events,
        Self::Series,
        Self::Retained,
        Self::Metrics,
    ];

    const fn name(self) -> &'static str {
        match self {
            Self::Entry => "entry",
            Self::Feed => "feed",
            Self::Control => "control",
            Self::Config => "config",
            Self::Label => "label",
            Self::Nests => "nests",
            Self::Qualified => "qualified",
            Self::Page => "page",
            Self::Events => "events",
            Self::Series => "series",
            Self::Retained => "retained",
            Self::Metrics => "metrics",
        }
    }

    const fn says(self) -> &'static str {
        match self {
            Self::Entry => {
                "a line of the journal, of `export jsonl`, and of a broker's TOPIC/entries"
            }
            Self::Feed => {
                "a line of the feed: hello, state, notices, entries; and what a client may send"
            }
            Self::Control => "a line of the control socket: requests and their answers",
            Self::Config => {
                "the configuration's main file, and in it those of sheets, plans and tools"
            }
            Self::Label => "the text in the QR code of a label",
            Self::Nests => "the answer of `nests --json`",
            Self::Qualified => "a line of `tallyjaw qualified --json`",
            Self::Page => "the state of the page: the answer of /state",
            Self::Events => "the data of an event of /events",
            Self::Series => "a series: the answer of /series/N, a line of `series --json`",
            Self::Retained => "a retained message at a broker",
            Self::Metrics => "the names of the samples in /metrics",
        }
    }

    /// The schema, with its name in the world: that of the version of what it says.
    fn schema(self) -> Value {
        let mut schema = self.without_id();
        let id = format!("urn:tallyjaw:schema:{VERSION}:{}", self.name());
        if let Value::Object(schema) = &mut schema {
            schema.insert("$id".to_owned(), id.into());
        }
        schema
    }

    fn without_id(self) -> Value {
        match self {
            Self::Entry => schema::entry(),
            Self::Feed => schema::feed(),
            Self::Control => schema::control(),
            Self::Config => serde_json::from_str(crate::config::SCHEMA).unwrap_or_default(),
            Self::Label => schema::label(),
            Self::Nests => schema::nests(),
            Self::Qualified => schema::qualified(),
            Self::Page => schema::page(),
            Self::Events => schema::events(),
            Self::Series => schema::series(),
            Self::Retained => schema::retained(),
            Self::Metrics => schema::metrics(),
        }
    }
}

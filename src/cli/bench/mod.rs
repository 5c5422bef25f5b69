//! The subcommands of a bench: they need ports, the daemon, its sockets or its user, and run on Linux only.
//!
//! A subcommand that needs none of these stands beside this folder, and runs on an office computer too.

mod adapter;
mod arm;
mod ask;
mod client;
mod crimps;
mod demo;
mod disarm;
mod doctor;
mod fetch;
mod init;
mod job;
mod key;
mod listen;
mod logging;
mod look;
mod lot;
mod note;
#[cfg(feature = "opcua")]
pub(super) mod opcua;
mod operator;
mod page;
mod picture;
mod ports;
mod pulled;
mod reload;
mod replay;
mod restore;
mod resume;
mod retract;
mod serve;
mod settle;
mod status;
mod surroundings;
mod tape;
mod timestamp;
mod token;
mod tool;
mod watch;
mod zero;

use super::{
    Context, Exit, Failure, FailureKind, card, check, columns, configured, context, entries,
    progress, query, signed,
};
use crate::config::{Config, DaemonConfig};
use crate::entry::Seq;
use crate::message::reply::Status;
use clap::Subcommand;
use std::io::Write;
use std::path::Path;

/// Examples at the end of the help.
pub(super) const EXAMPLES: &str =
    "  tallyjaw demo                      a whole job with virtual calipers, without hardware
  tallyjaw init                      set a bench up: find the caliper, write the configuration
  tallyjaw doctor                    what is wrong here, and what to do about it
  tallyjaw check                     every mistake of the configuration, with its place
  tallyjaw serve                     run the daemon until it is stopped
  tallyjaw arm pump-own              start a series; then measure
  tallyjaw retract                   the last reading was a slip
  tallyjaw study capability 37       capability of a series, with its confidence
  tallyjaw report 37                 the series as a page for the customer
  tallyjaw watch --json              every entry for programs, once it is durable
";

#[derive(Debug, Subcommand)]
pub(super) enum Command {
    // Run it.
    Demo(demo::Demo),
    Serve(serve::Serve),
    Reload(reload::Reload),

    // Say what is measured.
    Arm(Box<arm::Arm>),
    Disarm(disarm::Disarm),
    Operator(operator::Operator),
    Tool(tool::Tool),
    Job(Box<job::Job>),
    Lot(lot::Lot),
    Retract(retract::Retract),
    Restore(restore::Restore),
    Resume(resume::Resume),
    Look(look::Look),
    Pulled(pulled::Pulled),
    Picture(picture::Picture),
    Crimps(crimps::Crimps),
    Settle(settle::Settle),
    Note(note::Note),
    Zero(zero::Zero),
    Ask(ask::Ask),
    Adapter(adapter::Adapter),

    // See what happens, and what is signed.
    Status(status::Status),
    Watch(watch::Watch),
    Page(page::Page),
    Token(token::Token),
    Key(key::KeyCommand),
    Timestamp(timestamp::Timestamp),

    // Set it up.
    Init(Box<init::Init>),
    Doctor(doctor::Doctor),
    Ports(ports::Ports),
    Listen(listen::Listen),

    // Record and replay a port.
    Tape(tape::Tape),
    Replay(replay::Replay),
}

impl Command {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        match self {
            Self::Demo(command) => command.run(context, out),
            Self::Serve(command) => command.run(context, out),
            Self::Reload(command) => command.run(context, out),
            Self::Arm(command) => command.run(context, out),
            Self::Disarm(command) => command.run(context, out),
            Self::Operator(command) => command.run(context, out),
            Self::Tool(command) => command.run(context, out),
            Self::Job(command) => command.run(context, out),
            Self::Lot(command) => command.run(context, out),
            Self::Retract(command) => command.run(context, out),
            Self::Restore(command) => command.run(context, out),
            Self::Resume(command) => command.run(context, out),
            Self::Look(command) => command.run(context, out),
            Self::Pulled(command) => command.run(context, out),
            Self::Picture(command) => command.run(context, out),
            Self::Crimps(command) => command.run(context, out),
            Self::Settle(command) => command.run(context, out),
            Self::Note(command) => command.run(context, out),
            Self::Zero(command) => command.run(context, out),
            Self::Ask(command) => command.run(context, out),
            Self::Adapter(command) => command.run(context, out),
            Self::Status(command) => command.run(context, out),
            Self::Watch(command) => command.run(context, out),
            Self::Page(command) => command.run(context, out),
            Self::Token(command) => command.run(context, out),
            Self::Key(command) => command.run(context, out),
            Self::Timestamp(command) => command.run(context, out),
            Self::Init(command) => command.run(context, out),
            Self::Doctor(command) => command.run(context, out),
            Self::Ports(command) => command.run(context, out),
            Self::Listen(command) => command.run(context, out),
            Self::Tape(command) => command.run(context, out),
            Self::Replay(command) => command.run(context, out),
        }
    }

    /// Whether the subcommand may write a file for programs to standard output.
    pub(super) const fn writes_data(&self) -> bool {
        matches!(self, Self::Tape(_))
    }
}

/// The end that a running daemon reports as durable; `None` without a daemon.
pub(super) fn durable_end(daemon: &DaemonConfig) -> Option<Seq> {
    let socket = daemon.runtime_dir.join(configured::CONTROL);
    let answer = client::call_at(&socket, "status", &client::params([])).ok()?;
    let status: Status = client::read(&answer).ok()?;
    status.state.seq.map(Seq)
}

/// What the configuration relies on outside itself and will not work, or is open to other users.
pub(super) fn surroundings(config: &Config) -> Vec<String> {
    surroundings::warnings(config)
}

/// What stands at a web address, by GET; `ca_file` has the certificates that the server is checked against.
pub(super) fn fetched(address: &str, ca_file: Option<&Path>) -> Result<Vec<u8>, Failure> {
    fetch::fetched(address, ca_file)
}

/// Refuses a configuration that was found in the current folder, if another user can change it and it could be used
/// against this one.
pub(super) fn trusted(path: &Path, announces: bool) -> Result<(), Failure> {
    surroundings::trusted(path, announces)
}

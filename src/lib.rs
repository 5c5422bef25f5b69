//! `tallyjaw` reads a caliper over a serial line and keeps a durable verdict for every crimp.
//!
//! A module uses only those above it in this table. Modules above the line use no file, port, thread, clock or log.
//!
//! | module | job |
//! |---|---|
//! | [`quantity`] | exact values |
//! | `markup` | elements → HTML and SVG, every text escaped once |
//! | `drawings` | line drawings of visual checks and pull modes |
//! | [`letterhead`] | who the shop is, on paper: name, address, logo |
//! | [`texts`] | what the page and cards say, in every language |
//! | [`pictures`] | the bytes of a picture → checked, with a small copy |
//! | [`decode`] | bytes → values |
//! | [`spec`] | sheets, plans, limits and the verdict |
//! | [`config`] | text → checked configuration, or located errors |
//! | [`entry`] | the journal entries, and the state that follows from them |
//! | [`stats`] | figures about readings, the only floats |
//! | [`qualification`] | which combinations of terminal, wire, tool and nest are shown |
//! | [`station`] | the core: inputs and the time in, entries out |
//! | [`message`] | what clients and daemon say to each other |
//! | [`row`] | a reading as a row of a table |
//! | [`report`] | series as a page for a customer, and the check of such a page against the journal |
//! | *the line* | |
//! | `workers` | work on all processors, results in order |
//! | `system` | what the operating system does: Linux, and any other |
//! | `clock` | the wall clock and the time zone |
//! | [`files`] | reads the files of a configuration |
//! | `durable` | files that are written whole or not at all |
//! | [`signing`] | the bench's key, signatures in the form of OpenSSH |
//! | [`serial`] | ports |
//! | [`virtual_caliper`] | a pseudo-terminal that sends what a caliper would |
//! | [`journal`] | entries on disk |
//! | `index` | which lines of the journal a question needs |
//! | `album` | the pictures on disk |
//! | `web` | connections to servers elsewhere, HTTP and TLS |
//! | `timestamp` | what an authority outside says of a line's time |
//! | `archive` | journal, pictures and configuration in one folder, to keep |
//! | [`export`] | rows as files that other programs read |
//! | `sink` | what reads the journal with a cursor of its own |
//! | `clients` | the feed and control sockets |
//! | [`page`] | the bench page over HTTP, with events and metrics |
//! | `opcua` | the feed as an OPC UA server, with the feature `opcua` |
//! | [`daemon`] | the tasks |
//! | [`cli`] | the command line |
//!
//! Ports, sockets, the page and the daemon are for Linux. Everything else is for an office computer too, on which a
//! copied journal is read.

// What only the bench calls stays in modules that every system has.
#![cfg_attr(
    not(target_os = "linux"),
    expect(
        dead_code,
        unused_imports,
        reason = "what only the bench calls stays beside what every system calls"
    )
)]

pub mod config;
pub mod decode;
pub(crate) mod drawings;
pub mod entry;
pub mod letterhead;
pub(crate) mod markup;
pub mod message;
pub mod pictures;
pub mod qualification;
pub mod quantity;
pub mod report;
pub mod row;
pub mod spec;
pub mod station;
pub mod stats;
pub mod texts;
// --- edge: below this line code may touch the world ---
pub(crate) mod album;
pub(crate) mod archive;
pub mod cli;
#[cfg(target_os = "linux")]
pub(crate) mod clients;
pub(crate) mod clock;
#[cfg(target_os = "linux")]
pub mod daemon;
pub(crate) mod durable;
pub mod export;
pub mod files;
pub(crate) mod index;
pub mod journal;
#[cfg(all(feature = "opcua", target_os = "linux"))]
pub mod opcua;
#[cfg(target_os = "linux")]
pub mod page;
#[cfg(target_os = "linux")]
pub mod serial;
pub mod signing;
#[cfg(target_os = "linux")]
pub(crate) mod sink;
pub(crate) mod system;
pub(crate) mod timestamp;
#[cfg(target_os = "linux")]
pub mod virtual_caliper;
#[cfg(target_os = "linux")]
pub(crate) mod web;
pub(crate) mod workers;

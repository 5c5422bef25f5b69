//! The test binary: properties of the program and the repository, seen from outside.
#![cfg(test)]
#![expect(
    clippy::disallowed_methods,
    reason = "tests touch real files, ports and processes"
)]
#![expect(
    clippy::wildcard_enum_match_arm,
    reason = "a test names the entry it wants and fails on any other"
)]

mod anchors;
mod announcing;
mod archive;
mod asking;
mod bridge;
mod captures;
mod cards;
mod clients;
mod commands;
mod config;
mod control;
mod crash;
mod cut_frames;
mod daemon;
mod disk;
mod display;
mod drifting;
mod export;
mod feed;
mod first_hour;
mod formats;
mod fuzz;
mod golden;
mod guess;
mod harness;
mod hostile;
mod import;
mod index;
mod jobs;
mod journal;
mod json_rpc;
mod json_schema;
mod labels;
mod lake;
mod large;
mod licences;
mod listen;
mod local_times;
mod lookup;
mod made_tapes;
mod mqtt;
mod nests;
mod newcomer;
mod newer;
mod no_sheet;
mod page;
mod pictures;
mod plans;
mod ports;
mod postgres;
mod pull_force;
mod pulling;
mod qualified;
mod recording;
mod replug;
mod report;
mod reserved;
mod run_rules;
mod schema;
mod scripts;
mod seals;
mod self_deception;
mod series;
mod service;
mod slow_line;
mod station;
mod stats;
mod surroundings;
mod tapes;
mod texts;
mod tidy;
mod timestamp;
mod uncertainty;
mod unsafe_names;
mod verify_bytes;
mod verify_export;
mod webhook;
mod wire;
mod words;
mod workers;
mod wrong_settings;

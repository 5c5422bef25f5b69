//! Counts readings by terminal, axis and verdict, after doubts and retractions, each once, whatever is stopped or killed.
//!
//! ```text
//! Run it:   cargo run --example fold run/feed.sock counts.json
//! Needs:    serde_json and serde, nothing else of this package; leave to read the socket.
//! Prints:   one line for each series that is closed, on standard output, until it is stopped:
//!
//!     17 bench-1 rejected fail_low=1 pass=4
//!
//! Ends:     with 1 where a person must look: the journal is shorter than it was, or a count is not what the daemon has.
//! ```
//!
//! counts.json has the counts and the last entry that is in them, and is replaced as a whole: so no entry counts twice.
#![expect(clippy::disallowed_methods, reason = "files and a socket")]
#![expect(clippy::indexing_slicing, reason = "what JSON lacks is null")]

use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::error::Error;
use std::fs::{self, File};
use std::io::{BufRead, BufReader, Write};
use std::os::unix::net::UnixStream;
use std::time::Duration;

type Readings = BTreeMap<u64, (String, bool)>; // by number: what it is, and whether it counts
type Done<T> = Result<T, Box<dyn Error>>;

const PAUSE: Duration = Duration::from_millis(500); // before connecting again
const SERIES_KEPT: usize = 3; // of a station: the open one, one that can be resumed, and one between

#[derive(Default, Serialize, Deserialize)]
struct Kept {
    journal: Option<String>,
    seq: u64,                                          // of the last entry that is counted
    counts: BTreeMap<String, i64>,                     // by terminal, axis and verdict
    series: BTreeMap<String, BTreeMap<u64, Readings>>, // by station and number
}

impl Kept {
    /// A reading counts again, or no longer.
    fn change(&mut self, station: &str, reading: &Value, counts: bool) {
        let seq = reading.as_u64().unwrap_or_default();
        let series = self.series.get_mut(station).into_iter();
        for series in series.flat_map(BTreeMap::values_mut) {
            if let Some((key, known)) = series.get_mut(&seq)
                && *known != counts
            {
                *known = counts;
                *self.counts.entry(key.clone()).or_default() += if counts { 1 } else { -1 };
            }
        }
    }

    fn take(&mut self, entry: &Value) -> Done<()> {
        let text = |key: &str| entry[key].as_str().unwrap_or("-");
        let number = |key: &str| entry[key].as_u64().unwrap_or_default();
        let (kind, station) = (text("kind"), text("station"));
        let series = self.series.entry(station.to_owned()).or_default();
        if kind == "armed" {
            series.insert(number("seq"), BTreeMap::new());
            while series.len() > SERIES_KEPT {
                series.pop_first();
            }
        } else if kind == "reading" && text("standing") == "counted" {
            let key = [text("terminal"), text("axis"), text("verdict")].join(" ");
            if let Some(series) = series.get_mut(&number("series")) {
                series.insert(number("seq"), (key, false));
            }
            self.change(station, &entry["seq"], true);
        } else if ["doubted", "retracted", "restored"].contains(&kind) {
            let one = std::slice::from_ref(&entry["reading"]);
            for reading in entry["readings"].as_array().map_or(one, Vec::as_slice) {
                self.change(station, reading, kind == "restored");
            }
        } else if kind == "completed" {
            let (mut mine, mut words) = (BTreeMap::<&str, u64>::new(), String::new());
            let known = series.get(&number("series")); // Not if it began in a segment that was removed.
            for (_, (key, counts)) in known.into_iter().flatten() {
                let verdict = key.rsplit(' ').next().unwrap_or_default();
                *mine.entry(verdict).or_default() += u64::from(*counts);
            }
            for (verdict, count) in mine.iter().filter(|one| *one.1 > 0) {
                words = format!("{words} {verdict}={count}");
            }
            let theirs = entry["counts"]["verdicts"].as_object(); // Older releases have none.
            for (verdict, count) in theirs.filter(|_| known.is_some()).into_iter().flatten() {
                if *count != mine.get(verdict.as_str()).copied().unwrap_or_default() {
                    return Err(format!("counted {mine:?}, the daemon has {theirs:?}").into());
                }
            }
            println!("{} {station} {}{words}", number("series"), text("outcome"));
        }
        Ok(())
    }

    /// One connection, until it ends. An error is one that a person must look at.
    fn follow(&mut self, feed: &UnixStream, file: &str) -> Done<()> {
        let mut missing = false;
        for line in BufReader::new(feed).split(b'\n').map_while(Result::ok) {
            let Ok(said) = serde_json::from_slice::<Value>(&line) else {
                return Ok(()); // A line that is torn comes again.
            };
            let number = |key: &str| said[key].as_u64().unwrap_or_default();
            if said["kind"] == "hello" {
                let journal = said["journal"].as_str().map(str::to_owned);
                if self.seq > number("last") || (self.seq > 0 && self.journal != journal) {
                    return Err("another journal, or a copy of the one that was counted".into());
                }
                self.journal = journal;
                // If the daemon is gone already, the next line says so.
                let _ = writeln!(&mut &*feed, "{}", json!({"after": self.seq}));
            } else if said["prev"].is_string() {
                // An entry. What came while the request was on its way comes again in its place.
                let seq = number("seq");
                if seq == self.seq + 1 || (missing && seq > self.seq) {
                    missing = false;
                    self.take(&said)?;
                    self.seq = seq;
                    let mut to = File::create(format!("{file}.new"))?;
                    to.write_all(&serde_json::to_vec(self)?)?;
                    to.sync_all()?;
                    fs::rename(format!("{file}.new"), file)?;
                }
            } else if said["kind"] != "state" {
                missing |= said["kind"] == "entries_missing";
                eprintln!("fold: {}: {}", said["kind"], said["message"]);
            }
        }
        Ok(())
    }
}

fn main() -> Done<()> {
    let mut words = std::env::args().skip(1);
    let (Some(path), Some(file)) = (words.next(), words.next()) else {
        return Err("usage: fold FEED.SOCK COUNTS.JSON".into());
    };
    let kept = fs::read(&file).ok();
    let kept = kept.map(|text| serde_json::from_slice(&text));
    let mut kept: Kept = kept.transpose()?.unwrap_or_default();
    loop {
        if let Ok(feed) = UnixStream::connect(&path) {
            kept.follow(&feed, &file)?;
        }
        eprintln!("fold: no daemon; asking again");
        std::thread::sleep(PAUSE);
    }
}

//! Feeds a tape of a million frames to the core, compared with splitting the same file into lines.
//!
//! Both read the same file in turn, several times in one run, on one thread. The baseline finds the ends of lines and
//! counts them. The replay reads marks, decodes them, judges them in an open series, and counts the verdicts. Then it
//! does the same and writes each entry as a line of a journal too, with its digest. Times are processor times of the
//! thread, so that what else runs on the machine counts little. The resident memory (`/proc/self/statm`) is shown after a
//! tenth and after the whole, and must not grow. The times of different runs cannot be compared; their ratio can.
//!
//! ```text
//! cargo bench --bench replay
//! TALLYJAW_FRAMES=10000000 cargo bench --bench replay
//! ```
#![expect(
    clippy::disallowed_methods,
    reason = "a benchmark is files and a clock"
)]

#[path = "../ratio/mod.rs"]
mod ratio;

use ratio::{Ratio, percentile};
use rustix::time::{ClockId, clock_gettime};
use std::error::Error;
use std::fs::File;
use std::io::{BufRead, BufReader, BufWriter};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::Duration;
use tallyjaw::daemon::replay::Replay;
use tallyjaw::entry::line::{self, Digest};
use tallyjaw::entry::{Entry, FrameEntry};
use tallyjaw::files;
use tallyjaw::serial::tape::{Header, Mark, Player, Recorder};

type Result<T> = std::result::Result<T, Box<dyn Error>>;

/// The plan repeats, so that every reading is judged.
const PLAN: &str = "flood";

/// Number of rounds.
const ROUNDS: usize = 9;

/// Writes two hundred frames a second: more would be a flood. Values scatter in the middle of the limits as those of a
/// tool in order, so that a run rule fires now and then; consecutive ones differ, so that none counts as a bounce.
fn record(path: &Path, frames: u64) -> Result<()> {
    let header = Header {
        at: "2026-11-25T09:14:03Z".parse()?,
        line: "115200 8N1".parse()?,
        port: None,
        instrument: Some("caliper-1".to_owned()),
        format: None,
    };
    let mut recorder = Recorder::new(BufWriter::new(File::create(path)?), &header)?;
    for number in 0..frames {
        let scattered = number.wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 62;
        let frame = format!("+1.{}\r", 59 + 2 * scattered + number % 2);
        recorder.write(number * 5_000, &Mark::Bytes(frame.into_bytes()))?;
    }
    recorder.into_inner().into_inner()?.sync_all()?;
    Ok(())
}

/// Processor time of this thread so far.
fn processor_time() -> Result<Duration> {
    let time = clock_gettime(ClockId::ThreadCPUTime);
    let (seconds, nanos) = (time.tv_sec.try_into()?, time.tv_nsec.try_into()?);
    Ok(Duration::new(seconds, nanos))
}

fn split_lines(path: &Path) -> Result<(u64, Duration)> {
    let mut tape = BufReader::new(File::open(path)?);
    let (mut line, mut count) = (Vec::new(), 0);
    let start = processor_time()?;
    while tape.read_until(b'\n', &mut line)? > 0 {
        count += 1;
        line.clear();
    }
    Ok((count, processor_time()?.saturating_sub(start)))
}

struct Judged {
    time: Duration,
    memory_early: u64,
    memory_late: u64,
}

/// Whether entries are made only, or written as lines too.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Until {
    Judged,
    Written,
}

fn replay(path: &Path, frames: u64, until: Until) -> Result<Judged> {
    let bench = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/bench/tallyjaw.toml");
    let config = files::load(&bench)?;
    let mut tape = Player::new(BufReader::new(File::open(path)?))?;
    let header = tape.header().clone();
    let mut core =
        Replay::new(config.catalog, "caliper-1", &header).ok_or("no caliper-1 at the bench")?;
    core.arm(PLAN)?;
    let (mut marks, mut verdicts, mut memory_early) = (0, 0, 0);
    let mut prev = Digest::NONE;
    let start = processor_time()?;
    while let Some(timed) = tape.next_mark()? {
        core.feed(&timed);
        while let Some(stamped) = core.next_entry() {
            if let Entry::Frame(FrameEntry::Reading(reading)) = &stamped.entry {
                let judged = reading.verdict();
                verdicts += u64::from(judged.is_some());
            }
            if until == Until::Written {
                prev = Digest::of(&line::encode(&stamped, prev));
            }
        }
        marks += 1;
        if marks == frames / 10 {
            memory_early = resident_kib()?;
        }
    }
    let time = processor_time()?.saturating_sub(start);
    if verdicts != frames {
        return Err(format!("{verdicts} verdicts of {frames} frames").into());
    }
    Ok(Judged {
        time,
        memory_early,
        memory_late: resident_kib()?,
    })
}

/// Resident memory of this process in KiB.
fn resident_kib() -> Result<u64> {
    let statm = std::fs::read_to_string("/proc/self/statm")?;
    let pages: u64 = statm.split(' ').nth(1).ok_or("no second field")?.parse()?;
    let page = u64::try_from(rustix::param::page_size())?;
    Ok(pages * page / 1024)
}

fn print(what: &str, frames: u64, times: &[Duration], lines: &[Duration]) {
    let p50 = percentile(times.to_vec(), 50);
    let rate = u128::from(frames) * 1_000_000 / p50.as_micros().max(1);
    let ratio = Ratio::of(times, lines, 50);
    println!("{what:<18}{rate:>10} a second of a core, {ratio} × the time of splitting");
}

fn tape_path() -> PathBuf {
    Path::new(env!("CARGO_TARGET_TMPDIR")).join("million.tape")
}

fn run() -> Result<()> {
    let frames: u64 = match std::env::var("TALLYJAW_FRAMES") {
        Ok(number) => number.parse()?,
        Err(_) => 1_000_000,
    };
    let path = tape_path();
    record(&path, frames)?;
    split_lines(&path)?; // Read once before, so that all find the file in memory.
    let (mut splits, mut judged, mut written) = (Vec::new(), Vec::new(), Vec::new());
    for _ in 0..ROUNDS {
        let (lines, time) = split_lines(&path)?;
        if lines < frames {
            return Err(format!("{lines} lines of {frames} frames").into());
        }
        splits.push(time);
        for (until, times) in [(Until::Judged, &mut judged), (Until::Written, &mut written)] {
            let Judged {
                time,
                memory_early,
                memory_late,
            } = replay(&path, frames, until)?;
            times.push(time);
            if memory_late > memory_early + 1024 {
                return Err(format!("memory grows with the tape: {memory_early} KiB after a tenth, {memory_late} KiB after all").into());
            }
        }
    }
    std::fs::remove_file(&path)?;
    println!("{frames} frames, {ROUNDS} rounds; medians");
    print("split into lines", frames, &splits, &splits);
    print("judged", frames, &judged, &splits);
    print("judged and written", frames, &written, &splits);
    println!("resident memory    {} KiB", resident_kib()?);
    Ok(())
}

fn main() -> ExitCode {
    match run() {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("replay: {error}");
            ExitCode::FAILURE
        }
    }
}

//! Feeds a tape of a million frames to the core, compared with splitting the same file into lines.
//!
//! Both read the same file in one run. The baseline finds the ends of lines and counts them. The replay reads marks,
//! decodes them, judges them in an open series, and counts the verdicts. The resident memory (`/proc/self/statm`) is
//! shown after a tenth and after the whole, and must not grow. The times of different runs cannot be compared; their
//! ratio can.
//!
//! ```text
//! cargo bench --bench replay
//! TALLYJAW_FRAMES=10000000 cargo bench --bench replay
//! ```
#![expect(
    clippy::disallowed_methods,
    reason = "a benchmark is files and a clock"
)]

use std::error::Error;
use std::fs::File;
use std::io::{BufRead, BufReader, BufWriter};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::{Duration, Instant};
use tallyjaw::daemon::files;
use tallyjaw::daemon::replay::Replay;
use tallyjaw::entry::{Entry, FrameEntry};
use tallyjaw::serial::tape::{Header, Mark, Player, Recorder};

type Result<T> = std::result::Result<T, Box<dyn Error>>;

/// The plan repeats, so that every reading is judged.
const PLAN: &str = "flood";

/// Writes a frame for each millisecond. Consecutive values differ, so that none counts as a bounce.
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
        let frame = format!("+1.{}\r", 58 + number % 9);
        recorder.write(number * 1_000, &Mark::Bytes(frame.into_bytes()))?;
    }
    recorder.into_inner().into_inner()?.sync_all()?;
    Ok(())
}

fn split_lines(path: &Path) -> Result<(u64, Duration)> {
    let mut tape = BufReader::new(File::open(path)?);
    let (mut line, mut count) = (Vec::new(), 0);
    let start = Instant::now();
    while tape.read_until(b'\n', &mut line)? > 0 {
        count += 1;
        line.clear();
    }
    Ok((count, start.elapsed()))
}

struct Judged {
    verdicts: u64,
    time: Duration,
    memory_early: u64,
    memory_late: u64,
}

fn replay(path: &Path, frames: u64) -> Result<Judged> {
    let bench = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/bench/tallyjaw.toml");
    let config = files::load(&bench)?;
    let mut tape = Player::new(BufReader::new(File::open(path)?))?;
    let header = tape.header().clone();
    let mut core =
        Replay::new(config.catalog, "caliper-1", &header).ok_or("no caliper-1 at the bench")?;
    core.arm(PLAN)?;
    let (mut marks, mut verdicts, mut memory_early) = (0, 0, 0);
    let start = Instant::now();
    while let Some(timed) = tape.next_mark()? {
        core.feed(&timed);
        while let Some(stamped) = core.next_entry() {
            if let Entry::Frame(FrameEntry::Reading(reading)) = &stamped.entry {
                let judged = reading.verdict();
                verdicts += u64::from(judged.is_some());
            }
        }
        marks += 1;
        if marks == frames / 10 {
            memory_early = resident_kib()?;
        }
    }
    let time = start.elapsed();
    Ok(Judged {
        verdicts,
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

fn per_second(count: u64, time: Duration) -> u128 {
    u128::from(count) * 1_000_000 / time.as_micros().max(1)
}

/// Ratio in tenths, rounded up so that rounding never makes us look faster.
fn ratio(time: Duration, other: Duration) -> String {
    let tenths = (time.as_nanos() * 10).div_ceil(other.as_nanos().max(1));
    format!("{}.{}", tenths / 10, tenths % 10)
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
    split_lines(&path)?; // Read once before, so that both find the file in memory.
    let (lines, lines_time) = split_lines(&path)?;
    let judged = replay(&path, frames)?;
    println!(
        "{lines} lines split          {:>10} lines a second",
        per_second(lines, lines_time)
    );
    println!(
        "{frames} frames judged       {:>10} frames a second",
        per_second(frames, judged.time)
    );
    println!(
        "ratio of the times           {:>10}",
        ratio(judged.time, lines_time)
    );
    println!(
        "resident memory      {} KiB after a tenth, {} KiB after all",
        judged.memory_early, judged.memory_late
    );
    std::fs::remove_file(&path)?;
    if judged.verdicts != frames {
        return Err(format!("{} verdicts of {frames} frames", judged.verdicts).into());
    }
    if judged.memory_late > judged.memory_early + 1024 {
        return Err("memory grows with the tape".into());
    }
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

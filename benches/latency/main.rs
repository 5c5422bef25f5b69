//! Measures the time from the last byte on the port to the line on the feed, compared with a bare relay.
//!
//! First the disk alone: a line that is appended, against one over blocks that were written before, each with its
//! `fdatasync`. Two programs each wait at a pseudo-terminal: the daemon with an open series, and a relay that is the smallest
//! program for the job: it reads a line, appends it to a file, calls `fdatasync`, and writes it to a Unix socket.
//! Frames go to both in turn, so that both run under the same conditions. Then the same is measured without sync. Then
//! the daemon is compared with itself: alone and with 200 other clients of its feed, half of which never read; the same
//! for the page's event stream with 100; and beside a flood, in which another port of the daemon sends two values in
//! turn without pause. For the flood the growth of the journal is shown. The clients that read are part of this program
//! and use the same cores. The ratios of the medians and of the 99th percentiles are printed with their 95 % intervals;
//! the times of different runs cannot be compared.
//!
//! ```text
//! cargo bench --bench latency                          2000 samples of each
//! TALLYJAW_SAMPLES=10000 cargo bench --bench latency
//! TALLYJAW_ONLY=page cargo bench --bench latency       one of disk, sync, no-sync, crowd, page and flood
//! ```
#![expect(
    clippy::disallowed_methods,
    reason = "a benchmark is files, processes and a clock"
)]

mod crowd;
mod daemon;
mod disk;
mod flood;
mod page;
#[path = "../ratio/mod.rs"]
mod ratio;
mod relay;
mod summary;

use std::error::Error;
use std::io::{BufRead, BufReader};
use std::os::unix::net::UnixStream;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::{Duration, Instant};
use tallyjaw::quantity::Decimal;
use tallyjaw::virtual_caliper::VirtualCaliper;

type Result<T> = std::result::Result<T, Box<dyn Error>>;

/// Number of first frames that are not counted, because caches are cold.
const WARM_UP: usize = 100;

/// The length of a reading's entry with its newline, so that all write the same amount.
const LINE: usize = 485;

/// Longer than any disk takes: exceeding it is a failure.
const PATIENCE: Duration = Duration::from_secs(20);

/// Pause before each sample with and without a crowd, so that earlier clients have been served.
const QUIET: Duration = Duration::from_millis(10);

/// A running program as seen from outside: a port, and its output.
struct Contestant {
    caliper: VirtualCaliper,
    feed: Box<dyn BufRead>,
    /// Text before the value in the awaited line.
    before_value: &'static str,
    /// Other text in that line.
    besides: &'static str,
    _process: Child,
}

impl Contestant {
    /// Time for one press to arrive. Consecutive values differ, so that none counts as a bounce.
    fn sample(&mut self, number: usize) -> Result<Duration> {
        let hundredths = 160 + i64::try_from(number % 5)?;
        let value = Decimal::new(hundredths, 2);
        let frame = format!("+{value}\r");
        let awaited = format!("{}{value}", self.before_value);
        let mut line = String::new();
        let start = Instant::now();
        self.caliper.send(frame.as_bytes())?;
        loop {
            line.clear();
            if self.feed.read_line(&mut line)? == 0 {
                return Err("the feed was closed".into());
            }
            if line.contains(&awaited) && line.contains(self.besides) {
                return Ok(start.elapsed());
            }
        }
    }
}

/// Measures in a folder, with this number of samples, and prints.
type Measure = fn(&Path, usize) -> Result<()>;

/// Everything that is measured, in this order.
const ALL: [(&str, Measure); 6] = [
    ("disk", disk::measure),
    ("sync", |folder, samples| measure(folder, true, samples)),
    ("no-sync", |folder, samples| measure(folder, false, samples)),
    ("crowd", measure_beside_a_crowd),
    ("page", measure_beside_a_crowd_at_the_page),
    ("flood", measure_beside_a_flood),
];

fn measure(folder: &Path, sync: bool, samples: usize) -> Result<()> {
    let mut bare = relay::start(&folder.join("relay"), sync)?;
    let mut whole = daemon::start(&folder.join("daemon"), sync, "")?;
    let (mut bare_times, mut whole_times) = (Vec::new(), Vec::new());
    for number in 0..WARM_UP + samples {
        bare_times.push(bare.sample(number)?);
        whole_times.push(whole.sample(number)?);
    }
    let (bare, whole) = (
        bare_times.split_off(WARM_UP),
        whole_times.split_off(WARM_UP),
    );
    println!(
        "\n{}:",
        if sync {
            "with fdatasync"
        } else {
            "without sync"
        }
    );
    summary::print(("tallyjaw", &whole), ("bare relay", &bare));
    Ok(())
}

/// Measures the effect of 200 other clients on one that reads: a daemon without them and one with them, in turn.
fn measure_beside_a_crowd(folder: &Path, samples: usize) -> Result<()> {
    let alone = daemon::start(&folder.join("alone"), true, "")?;
    let mut beside = daemon::start(&folder.join("beside"), true, "")?;
    let socket = folder.join("beside/run/feed.sock");
    let _crowd = crowd::gather(&socket)?;
    // It connects last, after all of them.
    beside.feed = Box::new(BufReader::new(connect(&socket)?));
    compare(alone, beside, crowd::WHO, samples)
}

/// The same for the event stream of the page.
fn measure_beside_a_crowd_at_the_page(folder: &Path, samples: usize) -> Result<()> {
    let (at_alone, at_beside) = (folder.join("alone"), folder.join("beside"));
    let mut alone = daemon::start(&at_alone, true, page::CONFIGURATION)?;
    let mut beside = daemon::start(&at_beside, true, page::CONFIGURATION)?;
    let _crowd = page::gather(&at_beside)?;
    alone.feed = page::follow(&at_alone)?;
    beside.feed = page::follow(&at_beside)?;
    compare(alone, beside, page::WHO, samples)
}

/// Measures the effect of a flooded port on another station. Both daemons have both ports; one port is flooded.
fn measure_beside_a_flood(folder: &Path, samples: usize) -> Result<()> {
    let (quiet, flooding) = (VirtualCaliper::open()?, VirtualCaliper::open()?);
    let (at_alone, at_beside) = (folder.join("alone"), folder.join("beside"));
    let configure = |caliper: &VirtualCaliper| flood::configuration(caliper.path());
    let alone = daemon::start_with(&at_alone, true, "", &configure(&quiet))?;
    let beside = daemon::start_with(&at_beside, true, "", &configure(&flooding))?;
    let flood = flood::Flood::of(flooding);
    let (calm, flooded) = (
        flood::Growth::from_now(&at_alone)?,
        flood::Growth::from_now(&at_beside)?,
    );
    compare(alone, beside, flood::WHO, samples)?;
    println!(
        "  the flood sends {} kB/s; the journal grows by {} kB/s, without it by {} kB/s",
        flood.rate() / 1_000,
        flooded.rate()? / 1_000,
        calm.rate()? / 1_000
    );
    Ok(())
}

fn compare(mut alone: Contestant, mut beside: Contestant, who: &str, samples: usize) -> Result<()> {
    let (mut alone_times, mut beside_times) = (Vec::new(), Vec::new());
    for number in 0..WARM_UP + samples {
        std::thread::sleep(QUIET);
        alone_times.push(alone.sample(number)?);
        std::thread::sleep(QUIET);
        beside_times.push(beside.sample(number)?);
    }
    let (alone, beside) = (
        alone_times.split_off(WARM_UP),
        beside_times.split_off(WARM_UP),
    );
    println!("\nbeside {who}, with fdatasync:");
    summary::print(("beside them", &beside), ("alone", &alone));
    Ok(())
}

fn folder() -> Result<PathBuf> {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("latency");
    if folder.exists() {
        std::fs::remove_dir_all(&folder)?;
    }
    std::fs::create_dir_all(&folder)?;
    Ok(folder)
}

/// The file system of `folder`, from the kernel's table of mounts.
fn file_system(folder: &Path) -> Result<String> {
    let mounts = std::fs::read_to_string("/proc/self/mounts")?;
    let folder = folder.canonicalize()?;
    let mount = mounts
        .lines()
        .map(|line| line.split(' ').collect::<Vec<_>>())
        .filter_map(|fields| Some((*fields.first()?, *fields.get(1)?, *fields.get(2)?)))
        .filter(|(_, at, _)| folder.starts_with(at))
        .max_by_key(|(_, at, _)| at.len());
    Ok(mount.map_or("unknown".to_owned(), |(device, _, kind)| {
        format!("{kind} on {device}")
    }))
}

fn run() -> Result<()> {
    let samples = match std::env::var("TALLYJAW_SAMPLES") {
        Ok(number) => number.parse()?,
        Err(_) => 2000,
    };
    let folder = folder()?;
    println!(
        "from the last byte on the port to the line on the feed; files on {}",
        file_system(&folder)?
    );
    let only = std::env::var("TALLYJAW_ONLY").ok();
    for (name, measure) in ALL {
        if only.as_ref().is_none_or(|only| only == name) {
            measure(&folder.join(name), samples)?;
        }
    }
    Ok(())
}

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().collect();
    let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let outcome = match *words {
        [_, relay::ARGUMENT, port, file, socket, sync] => {
            relay::run(port, file, socket, sync == relay::SYNC)
        }
        _ => run(),
    };
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("latency: {error}");
            ExitCode::FAILURE
        }
    }
}

/// Connects to the socket of a program that was just started.
fn connect(path: &Path) -> Result<UnixStream> {
    let deadline = Instant::now() + PATIENCE;
    loop {
        match UnixStream::connect(path) {
            Ok(stream) => {
                stream.set_read_timeout(Some(PATIENCE))?;
                return Ok(stream);
            }
            Err(error) if Instant::now() > deadline => {
                return Err(format!("{}: {error}", path.display()).into());
            }
            Err(_) => std::thread::sleep(Duration::from_millis(5)),
        }
    }
}

/// A child process that is killed with this program.
struct Child(std::process::Child);

impl Drop for Child {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

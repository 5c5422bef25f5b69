//! Measures the time from the last byte on the port to the line on the feed, compared with a bare relay.
//!
//! First the disk alone: a line that is appended, against one over blocks that were written before, each with its
//! `fdatasync`. Two programs each wait at a pseudo-terminal: the daemon with an open series, and a relay that is the smallest
//! program for the job: it reads a line, appends it to a file, calls `fdatasync`, and writes it to a Unix socket.
//! Frames go to both in turn, so that both run under the same conditions. Then the same is measured without sync. Then
//! each is compared with itself: alone and with 200 other clients of its feed, half of which never read. What the relay
//! pays for them is what the kernel takes for waking them on these processors. Then the daemon with 100 clients of the
//! page's event stream, for one more of these and for a client of the feed; and beside a flood, in which another port of the
//! daemon sends two values in turn without pause. For the flood the growth of the journal is shown. The clients that
//! read are part of this program and use the same cores. Last, what arrives at the receivers of sinks (servers of HTTP and
//! HTTPS, a subscriber of a broker, a client of a database) and at a client of the feed that gets each state, beside the feed, by the
//! same presses; and the processor time and memory of a daemon with each of them alone, beside one with none. The ratios of the medians and of the 99th percentiles are
//! printed with their 95 % intervals; the times of different runs cannot be compared. So that a change can be judged,
//! the file of an earlier build takes part beside crowds.
//!
//! ```text
//! cargo bench --bench latency                          2000 samples of each
//! TALLYJAW_SAMPLES=10000 cargo bench --bench latency
//! TALLYJAW_ONLY=page cargo bench --bench latency       one of disk, sync, no-sync, crowd, page, page-feed, flood and outlets
//! TALLYJAW_BEFORE=FILE cargo bench --bench latency
//! ```
#![expect(
    clippy::disallowed_methods,
    reason = "a benchmark is files, processes and a clock"
)]

mod cost;
mod crowd;
mod daemon;
#[path = "../../tests/suite/postgres/server.rs"]
mod database;
mod disk;
mod flood;
mod outlets;
mod page;
#[path = "../ratio/mod.rs"]
mod ratio;
mod relay;
mod summary;
mod table;

use std::any::Any;
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

/// Pause before each sample, so that earlier clients have been served, and fewer frames come than the daemon takes for a
/// flood (`src/station/flood.rs`).
const QUIET: Duration = Duration::from_millis(10);

/// A running program as seen from outside: a port, and its output.
struct Contestant {
    caliper: VirtualCaliper,
    feed: Box<dyn BufRead>,
    /// Text before the value in the awaited line.
    before_value: &'static str,
    /// Other text in that line.
    besides: &'static str,
    process: Child,
    /// Its other clients.
    _crowd: Box<dyn Any>,
}

impl Contestant {
    /// The value of a sample.
    fn value(number: usize) -> Result<Decimal> {
        let hundredths = 160 + i64::try_from(number % 5)?;
        Ok(Decimal::new(hundredths, 2))
    }

    /// Time for one press to arrive. Consecutive values differ, so that none counts as a bounce.
    fn sample(&mut self, number: usize) -> Result<Duration> {
        let value = Self::value(number)?;
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
const ALL: [(&str, Measure); 8] = [
    ("disk", disk::measure),
    ("sync", |folder, samples| measure(folder, true, samples)),
    ("no-sync", |folder, samples| measure(folder, false, samples)),
    ("crowd", measure_beside_a_crowd),
    ("page", measure_beside_a_crowd_at_the_page),
    ("page-feed", measure_a_feed_beside_a_crowd_at_the_page),
    ("flood", measure_beside_a_flood),
    ("outlets", outlets::measure),
];

fn measure(folder: &Path, sync: bool, samples: usize) -> Result<()> {
    let mut bare = relay::start(&folder.join("relay"), sync, |_| Ok(()))?;
    let mut whole = daemon::start(&daemon::ours(), &folder.join("daemon"), sync, "")?;
    let (mut bare_times, mut whole_times) = (Vec::new(), Vec::new());
    for number in 0..WARM_UP + samples {
        std::thread::sleep(QUIET);
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

/// A program alone and beside others.
struct Pair {
    name: &'static str,
    alone: Contestant,
    beside: Contestant,
}

/// Measures the effect of 200 other clients on one that reads.
fn measure_beside_a_crowd(folder: &Path, samples: usize) -> Result<()> {
    let mut pairs = Vec::new();
    for build in daemon::builds() {
        let folder = folder.join(build.0);
        let beside = daemon::start(&build, &folder.join("beside"), true, "")?;
        let socket = folder.join("beside/run/feed.sock");
        let beside = Contestant {
            _crowd: Box::new(crowd::gather(&socket)?),
            // It connects last, after all of them.
            feed: Box::new(BufReader::new(connect(&socket)?)),
            ..beside
        };
        pairs.push(Pair {
            name: build.0,
            alone: daemon::start(&build, &folder.join("alone"), true, "")?,
            beside,
        });
    }
    pairs.push(Pair {
        name: "bare relay",
        alone: relay::start(&folder.join("relay-alone"), true, |_| Ok(()))?,
        beside: relay::start(&folder.join("relay-beside"), true, crowd::gather)?,
    });
    compare(&mut pairs, crowd::WHO, samples)
}

/// Measures the effect of 100 clients of the page's event stream on another one.
fn measure_beside_a_crowd_at_the_page(folder: &Path, samples: usize) -> Result<()> {
    let mut pairs = beside_a_crowd_at_the_page(folder)?;
    for Pair {
        name,
        alone,
        beside,
    } in &mut pairs
    {
        alone.feed = page::follow(&folder.join(*name).join("alone"))?;
        beside.feed = page::follow(&folder.join(*name).join("beside"))?;
    }
    compare(&mut pairs, page::WHO, samples)
}

/// The same for a client of the feed.
fn measure_a_feed_beside_a_crowd_at_the_page(folder: &Path, samples: usize) -> Result<()> {
    let mut pairs = beside_a_crowd_at_the_page(folder)?;
    println!("\na client of the feed, in what follows:");
    compare(&mut pairs, page::WHO, samples)
}

fn beside_a_crowd_at_the_page(folder: &Path) -> Result<Vec<Pair>> {
    let mut pairs = Vec::new();
    for build in daemon::builds() {
        let (at_alone, at_beside) = (
            folder.join(build.0).join("alone"),
            folder.join(build.0).join("beside"),
        );
        let beside = daemon::start(&build, &at_beside, true, page::CONFIGURATION)?;
        let beside = Contestant {
            _crowd: Box::new(page::gather(&at_beside)?),
            ..beside
        };
        pairs.push(Pair {
            name: build.0,
            alone: daemon::start(&build, &at_alone, true, page::CONFIGURATION)?,
            beside,
        });
    }
    Ok(pairs)
}

/// Measures the effect of a flooded port on another station. Both daemons have both ports; one port is flooded.
fn measure_beside_a_flood(folder: &Path, samples: usize) -> Result<()> {
    let (quiet, flooding) = (VirtualCaliper::open()?, VirtualCaliper::open()?);
    let (at_alone, at_beside) = (folder.join("alone"), folder.join("beside"));
    let configure = |caliper: &VirtualCaliper| flood::configuration(caliper.path());
    let build = daemon::ours();
    let pair = Pair {
        name: build.0,
        alone: daemon::start_with(&build, &at_alone, true, "", &configure(&quiet))?,
        beside: daemon::start_with(&build, &at_beside, true, "", &configure(&flooding))?,
    };
    let flood = flood::Flood::of(flooding);
    let (calm, flooded) = (
        flood::Growth::from_now(&at_alone)?,
        flood::Growth::from_now(&at_beside)?,
    );
    compare(&mut [pair], flood::WHO, samples)?;
    println!(
        "  the flood sends {} kB/s; the journal grows by {} kB/s, without it by {} kB/s",
        flood.rate() / 1_000,
        flooded.rate()? / 1_000,
        calm.rate()? / 1_000
    );
    Ok(())
}

/// All take turns.
fn compare(pairs: &mut [Pair], who: &str, samples: usize) -> Result<()> {
    let mut times: Vec<_> = pairs.iter().map(|_| (Vec::new(), Vec::new())).collect();
    for number in 0..WARM_UP + samples {
        for (pair, (alone, beside)) in pairs.iter_mut().zip(&mut times) {
            std::thread::sleep(QUIET);
            alone.push(pair.alone.sample(number)?);
            std::thread::sleep(QUIET);
            beside.push(pair.beside.sample(number)?);
        }
    }
    for (pair, (mut alone, mut beside)) in pairs.iter().zip(times) {
        let (alone, beside) = (alone.split_off(WARM_UP), beside.split_off(WARM_UP));
        println!("\n{} beside {who}, with fdatasync:", pair.name);
        summary::print(("beside them", &beside), ("alone", &alone));
    }
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

//! What an outlet costs the daemon: its processor time for each reading, and the memory that it holds.

use super::outlets::{Outlet, each};
use super::{Contestant, QUIET, Result, WARM_UP, daemon};
use crate::ratio::{Ratio, percentile};
use std::path::Path;
use std::time::Duration;

/// Readings whose processor time is one sample: of a single one the kernel's own work would be much of it.
const BLOCK: usize = 50;

/// A daemon with one outlet, or with none.
struct Payer<'a> {
    name: &'static str,
    whole: Contestant,
    outlet: Option<&'a Outlet>,
    blocks: Vec<Duration>,
    memory: (u64, u64),
}

/// Measures daemons with one outlet each beside one that has only a client of the feed, as all have. They take turns, and a
/// daemon gets its next press when the reading has arrived.
pub(super) fn measure(folder: &Path, outlets: &[Outlet], samples: usize) -> Result<()> {
    let start = |name: &str, sink: &str| {
        let at = folder.join("cost").join(name);
        daemon::start_with(&daemon::ours(), &at, true, "", sink)
    };
    let payer = |name, whole, outlet| Payer {
        name,
        whole,
        outlet,
        blocks: Vec::new(),
        memory: (0, 0),
    };
    let mut payers = vec![payer("feed alone", start("alone", "")?, None)];
    let with_states = start("states", "")?;
    let states = each(&folder.join("cost/states"))?;
    payers.push(payer("feed, states", with_states, Some(&states)));
    for outlet in outlets {
        let whole = start(outlet.name, &outlet.sink)?;
        payers.push(payer(outlet.name, whole, Some(outlet)));
    }
    let mut number = 0;
    let mut press = |payers: &mut [Payer<'_>]| -> Result<()> {
        let value = Contestant::value(number)?.to_string();
        for payer in payers {
            std::thread::sleep(QUIET);
            payer.whole.sample(number)?;
            if let Some(outlet) = payer.outlet {
                outlet.arrived(&value)?;
            }
        }
        number += 1;
        Ok(())
    };
    for _ in 0..WARM_UP {
        press(&mut payers)?;
    }
    for payer in &mut payers {
        payer.memory.0 = payer.memory()?;
    }
    for _ in 0..samples / BLOCK {
        let before: Vec<Duration> = payers.iter().map(Payer::time).collect::<Result<_>>()?;
        for _ in 0..BLOCK {
            press(&mut payers)?;
        }
        for (payer, before) in payers.iter_mut().zip(before) {
            payer.blocks.push(payer.time()?.saturating_sub(before));
        }
    }
    for payer in &mut payers {
        payer.memory.1 = payer.memory()?;
    }
    print(&payers, samples);
    Ok(())
}

impl Payer<'_> {
    fn file(&self, name: &str) -> std::path::PathBuf {
        Path::new("/proc")
            .join(self.whole.process.0.id().to_string())
            .join(name)
    }

    /// Processor time of all threads so far, in nanoseconds by the kernel: the first number of `schedstat`.
    fn time(&self) -> Result<Duration> {
        let mut nanos = 0;
        for task in std::fs::read_dir(self.file("task"))? {
            let text = std::fs::read_to_string(task?.path().join("schedstat"))?;
            nanos += text.split(' ').next().unwrap_or_default().parse::<u64>()?;
        }
        Ok(Duration::from_nanos(nanos))
    }

    /// Resident memory in kB.
    fn memory(&self) -> Result<u64> {
        let text = std::fs::read_to_string(self.file("status"))?;
        let line = text.lines().find_map(|line| line.strip_prefix("VmRSS:"));
        let number = line.and_then(|line| line.split_whitespace().next());
        Ok(number.ok_or("no VmRSS")?.parse()?)
    }
}

fn print(payers: &[Payer<'_>], samples: usize) {
    println!(
        "\nprocessor time of the daemon for a reading (medians of blocks of {BLOCK}), and its memory before and after {samples} readings:"
    );
    let Some(alone) = payers.first() else { return };
    for payer in payers {
        let block = percentile(payer.blocks.clone(), 50).as_micros();
        let one = block / u128::try_from(BLOCK).unwrap_or(1);
        let ratio = Ratio::of(&payer.blocks, &alone.blocks, 50);
        let (before, after) = payer.memory;
        println!(
            "  {:<12} {one:>6} µs  ratio {ratio:<28} {before:>7} kB {after:>7} kB",
            payer.name
        );
    }
}

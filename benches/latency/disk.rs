//! What the disk itself costs: a line that makes a file longer, against one over blocks that were written before.

use super::{LINE, QUIET, Result, summary};
use std::fs::File;
use std::io::{Seek, SeekFrom, Write};
use std::path::Path;
use std::time::{Duration, Instant};

/// Size of the file that is written over, again and again.
const AHEAD: usize = 4 * 1024 * 1024;

/// Measures both in turn and prints their ratio: the most that space written ahead could save.
pub(super) fn measure(folder: &Path, samples: usize) -> Result<()> {
    std::fs::create_dir_all(folder)?;
    let mut longer = File::create(folder.join("longer"))?;
    let mut over = File::create(folder.join("over"))?;
    over.write_all(&vec![0; AHEAD])?;
    over.sync_all()?;
    let line = [b'x'; LINE];
    let (mut longer_times, mut over_times) = (Vec::new(), Vec::new());
    for number in 0..samples {
        longer_times.push(durable(&mut longer, &line)?);
        let at = number % (AHEAD / LINE) * LINE;
        over.seek(SeekFrom::Start(u64::try_from(at)?))?;
        over_times.push(durable(&mut over, &line)?);
    }
    println!("\na line and its fdatasync alone:");
    summary::print(("over blocks", &over_times), ("appended", &longer_times));
    Ok(())
}

fn durable(file: &mut File, line: &[u8]) -> Result<Duration> {
    std::thread::sleep(QUIET);
    let start = Instant::now();
    file.write_all(line)?;
    file.sync_data()?;
    Ok(start.elapsed())
}

//! Examines the machine: permissions for serial ports, the clock, and the disk of the journal.

#![expect(
    clippy::disallowed_methods,
    reason = "edge: asks the system whether its clock is synchronised"
)]

use super::{Finding, Is};
use crate::clock;
use crate::daemon::clock::Clock;
use crate::durable;
use crate::journal::JOURNAL_FOLDER;
use crate::quantity::{WallMicros, Zone};
use crate::serial::Access;
use rustix::fs::{statfs, statvfs};
use std::path::Path;
use std::process::Command;
use std::time::{Duration, UNIX_EPOCH};

/// No valid time is earlier: 2026-01-01, UTC.
const PLAUSIBLE_FROM: WallMicros = WallMicros(1_767_225_600_000_000);
/// Files may be newer than the clock by this much, because clocks differ across a network.
const SLACK_MICROS: i64 = 60_000_000;
/// Free space that a busy bench needs for a year.
const LEAST_FREE: u64 = 200 << 20;
/// A slower disk keeps the operator waiting for a verdict.
const SLOW: Duration = Duration::from_secs(1);

/// Examines whether this user may open serial ports.
pub(super) fn groups() -> Vec<Finding> {
    let Some(access) = Access::of_usual_port() else {
        return Vec::new();
    };
    let (user, group) = (&access.user, &access.group);
    vec![if user == "root" {
        Finding::new("permissions", Is::Good, "root may open every port")
    } else if access.is_open_to_us() {
        let says = format!("{user} is in the group {group}, which may open serial ports");
        Finding::new("permissions", Is::Good, says)
    } else {
        let says = format!(
            "serial ports are for the group {group}; {user} is in {}",
            access.groups.join(", ")
        );
        Finding::new("permissions", Is::Wrong, says).help(access.remedy())
    }]
}

/// Examines whether the time is plausible and synchronised.
pub(super) fn clock(state_dir: Option<&Path>) -> Vec<Finding> {
    let now = clock::wall();
    let newest = state_dir.and_then(|state_dir| newest_in(&state_dir.join(JOURNAL_FOLDER)));
    let zone = clock::zone();
    vec![
        plausible(now, newest, &zone),
        synchronised(is_synchronised()),
    ]
}

fn plausible(now: WallMicros, newest: Option<WallMicros>, zone: &Zone) -> Finding {
    let shown = now.local(zone);
    let help = "set the clock, or let it be synchronised: timedatectl set-ntp true";
    if now < PLAUSIBLE_FROM {
        let says = format!("it says {shown}, before this program was made");
        return Finding::new("clock", Is::Wrong, says).help(help);
    }
    match newest {
        Some(newest) if newest.0.saturating_sub(now.0) > SLACK_MICROS => {
            let newest = newest.local(zone);
            let says =
                format!("it says {shown}; the journal was written at {newest}, which is later");
            Finding::new("clock", Is::Wrong, says).help(help)
        }
        Some(_) | None => Finding::new("clock", Is::Good, format!("it says {shown}")),
    }
}

fn synchronised(is: Option<bool>) -> Finding {
    let says = |is, says| Finding::new("clock", is, says);
    match is {
        Some(true) => says(Is::Good, "it is synchronised"),
        Some(false) => says(
            Is::Note,
            "it is not synchronised: the times of entries are as right as it was set",
        )
        .help("let it be: timedatectl set-ntp true"),
        None => says(
            Is::Note,
            "whether it is synchronised is not known: systemd does not say",
        ),
    }
}

fn is_synchronised() -> Option<bool> {
    if !Path::new("/run/systemd/system").exists() {
        return None;
    }
    let answer = Command::new("timedatectl")
        .args(["show", "--property=NTPSynchronized", "--value"])
        .output()
        .ok()?;
    match answer.stdout.trim_ascii() {
        b"yes" => Some(true),
        b"no" => Some(false),
        _ => None,
    }
}

/// Time of the newest file in this folder.
fn newest_in(folder: &Path) -> Option<WallMicros> {
    let files = std::fs::read_dir(folder).ok()?.flatten();
    let times = files.filter_map(|file| file.metadata().ok()?.modified().ok());
    let newest = times.max()?.duration_since(UNIX_EPOCH).ok()?;
    i64::try_from(newest.as_micros()).ok().map(WallMicros)
}

/// Examines free space, permanence and speed of the journal's disk.
pub(super) fn disk(state_dir: &Path) -> Finding {
    let mut folder = state_dir;
    while !folder.exists() {
        match folder.parent() {
            Some(parent) if !parent.as_os_str().is_empty() => folder = parent,
            Some(_) | None => {
                folder = Path::new(".");
                break;
            }
        }
    }
    let shown = folder.display();
    let free = match statvfs(folder) {
        Ok(about) => about.f_bavail.saturating_mul(about.f_frsize),
        Err(error) => {
            let says = format!("{shown} cannot be examined: {error}");
            return Finding::new("disk", Is::Wrong, says).help(OTHER_FOLDER);
        }
    };
    let clock = Clock::start();
    if let Err(error) = durable::trial(folder) {
        let says = format!("a file in {shown} cannot be written and synced: {error}");
        return Finding::new("disk", Is::Wrong, says).help(OTHER_FOLDER);
    }
    let took = Duration::from_micros(clock.now().mono.0);
    let kind = statfs(folder).ok().and_then(|about| kind(about.f_type));
    judged(&shown.to_string(), free, took, kind)
}

const OTHER_FOLDER: &str = "give `state_dir` a folder on a local disk that this user may write to";

/// File systems that are unsuitable for a journal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Memory,
    Network,
}

/// The kind by the magic number of `linux/magic.h`, which is signed on a 32-bit system.
fn kind(number: impl TryInto<i128>) -> Option<Kind> {
    let number = number.try_into().ok()? & 0xffff_ffff;
    match number {
        0x0102_1994 | 0x8584_58f6 => Some(Kind::Memory), // tmpfs, ramfs
        0x6969 | 0xff53_4d42 | 0xfe53_4d42 | 0x517b => Some(Kind::Network), // NFS, CIFS, SMB2, SMB
        _ => None,
    }
}

fn judged(folder: &str, free: u64, took: Duration, kind: Option<Kind>) -> Finding {
    let mib = free >> 20;
    if kind == Some(Kind::Memory) {
        let says = format!("{folder} is kept in memory: the journal would be gone with the power");
        return Finding::new("disk", Is::Wrong, says).help(OTHER_FOLDER);
    }
    if free < LEAST_FREE {
        let says = format!(
            "{mib} MiB are free at {folder}, want {} or more",
            LEAST_FREE >> 20
        );
        return Finding::new("disk", Is::Wrong, says)
            .help("make room; when it is full nothing counts");
    }
    let millis = took.as_millis();
    if took > SLOW {
        let says = format!("writing and syncing a file in {folder} took {millis} ms");
        return Finding::new("disk", Is::Wrong, says)
            .help("see what else writes to it; a verdict waits for the disk");
    }
    if kind == Some(Kind::Network) {
        let says =
            format!("{folder} is on a network: verdicts wait for it, and power cuts there count");
        return Finding::new("disk", Is::Note, says).help(OTHER_FOLDER);
    }
    let says = format!("{folder}: {mib} MiB free, a file was written and synced in {millis} ms");
    Finding::new("disk", Is::Good, says)
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOW: WallMicros = WallMicros(1_795_000_000_000_000);

    #[test]
    fn a_clock_that_runs_behind_the_journal_or_before_our_time_is_wrong() {
        let later = |seconds: i64| Some(WallMicros(NOW.0 + seconds * 1_000_000));
        assert_eq!(plausible(NOW, None, &Zone::UTC).is, Is::Good);
        assert_eq!(plausible(NOW, later(59), &Zone::UTC).is, Is::Good);
        assert_eq!(plausible(NOW, later(61), &Zone::UTC).is, Is::Wrong);
        assert_eq!(plausible(WallMicros(0), None, &Zone::UTC).is, Is::Wrong);
    }

    #[test]
    fn a_clock_that_nobody_keeps_right_is_a_note() {
        let is = |known| synchronised(known).is;
        assert_eq!(
            [Some(true), Some(false), None].map(is),
            [Is::Good, Is::Note, Is::Note]
        );
    }

    #[test]
    fn a_disk_is_wrong_if_it_is_full_slow_or_forgets() {
        let is = |free, millis, kind| judged("/x", free, Duration::from_millis(millis), kind).is;
        assert_eq!(is(1 << 40, 3, None), Is::Good);
        assert_eq!(is(1 << 20, 3, None), Is::Wrong);
        assert_eq!(is(1 << 40, 3_000, None), Is::Wrong);
        assert_eq!(is(1 << 40, 3, kind(0x0102_1994_i64)), Is::Wrong);
        assert_eq!(is(1 << 40, 3, kind(0x6969_i64)), Is::Note);
        assert_eq!(is(1 << 40, 3, kind(0xef53_i64)), Is::Good); // ext4
    }

    #[test]
    fn every_wrong_thing_comes_with_what_to_do() {
        let found = [
            plausible(WallMicros(0), None, &Zone::UTC),
            judged("/x", 0, Duration::ZERO, None),
            judged("/x", 1 << 40, Duration::from_secs(9), None),
            judged("/x", 1 << 40, Duration::ZERO, Some(Kind::Memory)),
        ];
        for finding in found {
            assert!(
                finding.is == Is::Wrong && finding.help.is_some(),
                "{finding:?}"
            );
        }
    }
}

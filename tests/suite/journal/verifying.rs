//! `verify` finds every change, whoever made it.

use super::bench::{copy, lines_on_disk, reopen, segment, shop, small_shop, verified, write};
use crate::harness::every;
use crate::station::desk::Desk;
use std::fs;
use std::path::Path;
use std::process::Command;
use std::sync::Arc;
use tallyjaw::entry::line::{Digest, decode, encode};
use tallyjaw::entry::{
    ClockStepped, Entry, FrameEntry, JournalEntry, Outcome, PortEntry, ReadingSlot, Retracted,
    Segment, Seq, SeriesEntry, Stamped, ZeroRole, Zeroed,
};
use tallyjaw::journal::{Report, verify};
use tallyjaw::quantity::{Measured, MonoMicros, Now, WallMicros};
use tallyjaw::spec::{Catalog, Verdict};
use tallyjaw::station::{Core, Input, Output};

/// Writes a changed history with an intact chain, as a forger with a program would.
fn forge(from: &Path, to: &Path, change: impl Fn(&mut Stamped)) -> Report {
    fs::create_dir_all(to.join("journal")).unwrap();
    let mut prev = Digest::NONE;
    for number in 1..=3 {
        let mut bytes = Vec::new();
        for line in fs::read_to_string(segment(from, number)).unwrap().lines() {
            let mut stamped = decode(line.as_bytes()).unwrap().0;
            change(&mut stamped);
            let line = encode(&stamped, prev);
            prev = Digest::of(&line);
            bytes.extend_from_slice(&line);
            bytes.push(b'\n');
        }
        fs::write(segment(to, number), bytes).unwrap();
    }
    verified(to)
}

#[test]
fn an_intact_journal_is_counted_and_its_verdicts_recomputed() {
    let folder = tempfile::tempdir().unwrap();
    shop(folder.path());
    let report = verified(folder.path());
    let lines = lines_on_disk(folder.path());
    assert_eq!(report.findings, []);
    assert_eq!(report.segments, 3);
    assert_eq!(report.entries, u64::try_from(lines.len()).unwrap());
    assert_eq!(
        report.last_digest,
        lines.last().map(|line| Digest::of(line))
    );
    assert_eq!((report.readings, report.verdicts), (9, 8));
    let bytes: u64 = (1..=3)
        .map(|number| fs::metadata(segment(folder.path(), number)).unwrap().len())
        .sum();
    assert_eq!(report.bytes, bytes);
}

/// In the whole sweep one bit of every byte, and every bit of some. All bits take a minute, and were tried once.
#[test]
fn a_flipped_bit_anywhere_before_the_last_line_is_found() {
    let folder = tempfile::tempdir().unwrap();
    small_shop(folder.path());
    let last = lines_on_disk(folder.path()).pop().unwrap();
    let last_digest = Some(Digest::of(&last));
    let (mut flips, mut found) = (0, 0);
    for number in 1..=2 {
        let path = segment(folder.path(), number);
        let whole = fs::read(&path).unwrap();
        let is_last_line = |at: usize| number == 2 && at >= whole.len() - last.len() - 1;
        let bits = |at: usize| {
            if at.is_multiple_of(31) {
                0..8
            } else if !at.is_multiple_of(every(5)) {
                0..0
            } else {
                at % 8..at % 8 + 1
            }
        };
        for (at, bit) in (0..whole.len()).flat_map(|at| bits(at).map(move |bit| (at, bit))) {
            let mut bytes = whole.clone();
            bytes[at] ^= 1 << bit;
            fs::write(&path, &bytes).unwrap();
            let report = verified(folder.path());
            if is_last_line(at) {
                // Nothing after the last line confirms it. Some changes are found because they do not follow; the rest
                // only by a digest kept elsewhere.
                flips += 1;
                found += u32::from(!report.is_intact());
                assert_ne!(report.last_digest, last_digest, "bit {bit} of byte {at}");
            } else {
                assert!(
                    !report.is_intact(),
                    "bit {bit} of byte {at} of segment {number}"
                );
            }
        }
        fs::write(&path, &whole).unwrap();
    }
    println!("of {flips} bits of the last line {found} were found without its digest");
    let enough = flips > 300 / u32::try_from(every(5)).unwrap();
    assert!(enough && found > flips / 4, "{found} of {flips}");
}

#[test]
fn a_missing_segment_is_found_and_so_is_one_cut_short() {
    let folder = tempfile::tempdir().unwrap();
    shop(folder.path());
    for (number, said) in [(1, "segments are missing"), (2, "segments are missing")] {
        let dir = tempfile::tempdir().unwrap();
        copy(folder.path(), dir.path());
        fs::remove_file(segment(dir.path(), number)).unwrap();
        let report = verified(dir.path());
        assert_eq!(report.findings.len(), 1, "{:#?}", report.findings);
        assert_eq!(report.findings[0].what, said);
        assert_eq!(report.findings[0].got, format!("{number:08}.jsonl"));
    }
    let whole = fs::read(segment(folder.path(), 2)).unwrap();
    for len in [0, whole.len() / 2, whole.len() - 1] {
        fs::write(segment(folder.path(), 2), &whole[..len]).unwrap();
        assert!(!verified(folder.path()).is_intact(), "cut to {len}");
    }
}

#[test]
fn a_forged_verdict_is_found_although_the_chain_holds() {
    let folder = tempfile::tempdir().unwrap();
    shop(folder.path());
    let forged = tempfile::tempdir().unwrap();
    let honest = forge(folder.path(), forged.path(), |_| {});
    assert!(honest.is_intact(), "{:#?}", honest.findings);

    let report = forge(folder.path(), forged.path(), |stamped| {
        if let Entry::Frame(FrameEntry::Reading(reading)) = &mut stamped.entry
            && let Some(slot) = &mut std::sync::Arc::make_mut(reading).slot
            && slot.verdict == Some(Verdict::FailHigh)
        {
            slot.verdict = Some(Verdict::Pass);
        }
    });
    let first = &report.findings[0];
    assert_eq!(
        first.what,
        "verdict does not follow from the entries before"
    );
    assert_eq!(
        (first.got.as_str(), first.want.as_str()),
        ("pass", "fail_high")
    );
}

#[test]
fn what_does_not_follow_from_the_entries_before_is_found() {
    let folder = tempfile::tempdir().unwrap();
    shop(folder.path());
    let forged = tempfile::tempdir().unwrap();
    let check = |said: &str, change: fn(&mut Entry)| {
        let report = forge(folder.path(), forged.path(), |stamped| {
            change(&mut stamped.entry);
        });
        let found: Vec<&str> = report
            .findings
            .iter()
            .map(|finding| finding.what.as_str())
            .collect();
        let want = format!("{said} does not follow from the entries before");
        assert!(found.contains(&want.as_str()), "{want}: {found:?}");
    };
    check("piece", |entry| in_slot(entry, |slot| slot.piece = 7));
    check("slot", |entry| in_slot(entry, |slot| slot.piece = 1));
    check("limits", |entry| {
        in_slot(entry, |slot| slot.limits = "1.62 ±0.20 mm".parse().unwrap());
    });
    check("terminal", |entry| {
        in_slot(entry, |slot| {
            Arc::make_mut(slot.crimp.as_mut().unwrap()).terminal = "RB-090-M".to_owned();
        });
    });
    check("deviation", |entry| {
        in_slot(entry, |slot| slot.deviation = None);
    });
    check("tally", |entry| {
        if let Entry::Series(SeriesEntry::Completed(completed)) = entry {
            completed.tally.passed += 1;
        }
    });
    check("outcome", |entry| {
        if let Entry::Series(SeriesEntry::Completed(completed)) = entry {
            completed.outcome = Outcome::Undecided;
        }
    });
    check("reading", |entry| {
        if let Entry::Series(SeriesEntry::Retracted(Retracted { reading, .. })) = entry {
            reading.0 = 1;
        }
    });
    check("value of a good zero", |entry| {
        zero(entry, |it| it.ok = true);
    });
    check("zero before a counted reading", |entry| {
        zero(entry, |it| it.ok = false);
    });
    check("closing zero", |entry| {
        zero(entry, |it| it.role = ZeroRole::Unasked);
    });
    check("reading that counts", |entry| {
        if let Entry::Series(SeriesEntry::Doubted(doubted)) = entry {
            doubted.readings.clear();
        }
    });
    check("state", |entry| {
        if let Entry::Journal(JournalEntry::Segment(Segment { state, .. })) = entry {
            state.stations.clear();
        }
    });
}

fn zero(entry: &mut Entry, change: fn(&mut Zeroed)) {
    if let Entry::Frame(FrameEntry::Zeroed(zeroed)) = entry {
        change(zeroed);
    }
}

fn in_slot(entry: &mut Entry, change: fn(&mut ReadingSlot)) {
    if let Entry::Frame(FrameEntry::Reading(reading)) = entry
        && let Some(slot) = &mut std::sync::Arc::make_mut(reading).slot
    {
        change(slot);
    }
}

#[test]
fn a_value_that_is_not_what_its_bytes_say_is_found() {
    let folder = tempfile::tempdir().unwrap();
    shop(folder.path());
    let forged = tempfile::tempdir().unwrap();
    let honest = forge(folder.path(), forged.path(), |_| {});
    assert_eq!((honest.values, honest.values_unchecked), (14, 0));
    // a bad height becomes a good one, with its verdict and all consequences; only the bytes show it
    let report = forge(folder.path(), forged.path(), |stamped| {
        if let Entry::Frame(FrameEntry::Reading(reading)) = &mut stamped.entry {
            let reading = std::sync::Arc::make_mut(reading);
            if reading.value.to_string() == "1.61 mm" {
                reading.value = "1.62 mm".parse().unwrap();
                if let Some(slot) = &mut reading.slot {
                    slot.deviation = Some("0 mm".parse::<Measured>().unwrap().quantity());
                }
            }
        }
    });
    let found: Vec<_> = report
        .findings
        .iter()
        .map(|one| one.what.as_str())
        .collect();
    assert!(
        found.contains(&"value is not what its bytes say"),
        "{found:?}"
    );
    let finding = &report.findings[0];
    assert_eq!(
        (finding.got.as_str(), finding.want.as_str()),
        ("1.62 mm", "1.61 mm, by its bytes")
    );
    let report = forge(folder.path(), forged.path(), |stamped| {
        if let Entry::Frame(FrameEntry::Zeroed(zeroed)) = &mut stamped.entry {
            zeroed.value = "0.00 mm".parse().unwrap();
        }
    });
    let finding = &report.findings[0];
    assert_eq!(finding.want, "0.02 mm, by its bytes");
}

#[test]
fn where_a_journal_does_not_say_how_values_were_read_that_is_counted() {
    let folder = tempfile::tempdir().unwrap();
    shop(folder.path());
    let old = tempfile::tempdir().unwrap();
    let report = forge(folder.path(), old.path(), |stamped| {
        if let Entry::Port(PortEntry::Attached(attached)) = &mut stamped.entry {
            attached.read_by = None;
        } else if let Entry::Journal(JournalEntry::Segment(Segment { state, .. })) =
            &mut stamped.entry
        {
            for known in state.instruments.values_mut() {
                known.attached.as_mut().unwrap().read_by = None;
            }
        }
    });
    assert_eq!(report.findings, []);
    assert_eq!((report.values, report.values_unchecked), (0, 14));
}

const HOUR: i64 = 3_600_000_000;

#[test]
fn a_time_from_before_the_last_entry_is_found_unless_the_clock_was_set_back() {
    let folder = tempfile::tempdir().unwrap();
    shop(folder.path());
    let forged = tempfile::tempdir().unwrap();
    for earlier in [2_000_000, HOUR, 24 * HOUR] {
        let report = forge(folder.path(), forged.path(), |stamped| {
            if stamped.seq == Seq(12) {
                stamped.at.0 -= earlier;
            }
        });
        assert_eq!(report.findings.len(), 1, "{:#?}", report.findings);
        assert_eq!(report.findings[0].seq, Some(Seq(12)));
        assert_eq!(
            report.findings[0].what,
            "time runs back without a `clock_stepped`"
        );
    }
    // a clock that was set back, and the entry about it
    let folder = tempfile::tempdir().unwrap();
    let opened = reopen(folder.path());
    let mut desk = Desk::going_on(opened.state.clone());
    desk.set_clock(-3_600);
    desk.press("1.62");
    write(opened, &desk.entries);
    assert_eq!(verified(folder.path()).findings, []);
}

#[test]
fn a_clock_that_is_behind_the_journal_at_the_start_is_entered() {
    let folder = tempfile::tempdir().unwrap();
    shop(folder.path());
    let opened = reopen(folder.path());
    let last = decode(&lines_on_disk(folder.path()).pop().unwrap())
        .unwrap()
        .0;
    assert_eq!(opened.last_at, last.at);
    let mut core = Core::new(Arc::new(Catalog::default()), opened.state.clone());
    core.goes_on_after(opened.last_at);
    let now = Now {
        wall: WallMicros(last.at.0 - 3_600_000_000),
        mono: MonoMicros(1),
    };
    core.handle(
        now,
        Input::Started {
            version: "test",
            config_digest: "none",
        },
    );
    let mut entries = Vec::new();
    while let Output::Append(stamped) = core.poll() {
        entries.push(stamped);
    }
    let by_micros = -3_600_000_000;
    assert_eq!(
        entries[0].entry,
        Entry::Journal(JournalEntry::ClockStepped(ClockStepped { by_micros }))
    );
    write(opened, &entries);
    assert_eq!(verified(folder.path()).findings, []);
}

#[test]
fn a_segment_without_a_byte_is_found_wherever_it_is() {
    let folder = tempfile::tempdir().unwrap();
    shop(folder.path());
    for number in 1..=3 {
        let dir = tempfile::tempdir().unwrap();
        copy(folder.path(), dir.path());
        fs::write(segment(dir.path(), number), b"").unwrap();
        let report = verified(dir.path());
        let found: Vec<_> = report
            .findings
            .iter()
            .map(|one| (one.what.as_str(), one.file.as_str()))
            .collect();
        let file = format!("{number:08}.jsonl");
        assert!(
            found.contains(&("a segment is empty", file.as_str())),
            "{found:?}"
        );
    }
}

#[test]
fn a_digest_that_was_kept_tells_a_journal_that_was_cut_or_written_anew() {
    let folder = tempfile::tempdir().unwrap();
    shop(folder.path());
    let digests: Vec<Digest> = lines_on_disk(folder.path())
        .iter()
        .map(|line| Digest::of(line))
        .collect();
    let check = |dir: &Path, digest: Digest| verify(dir, Some(digest), |_| {}).unwrap();
    for at in [0, digests.len() / 2, digests.len() - 1] {
        let report = check(folder.path(), digests[at]);
        assert_eq!(report.findings, []);
        let seq = Seq(u64::try_from(at).unwrap() + 1);
        assert_eq!(report.kept, Some((digests[at], Some(seq))));
    }
    // without the last line everything left is intact
    let last = *digests.last().unwrap();
    let path = segment(folder.path(), 3);
    let text = fs::read_to_string(&path).unwrap();
    let end = text.trim_end().rfind('\n').unwrap() + 1;
    fs::write(&path, &text[..end]).unwrap();
    assert_eq!(verified(folder.path()).findings, []);
    let report = check(folder.path(), last);
    assert_eq!(report.findings.len(), 1);
    assert_eq!(
        report.findings[0].what,
        "no line has the digest that was kept: the journal was cut or rewritten"
    );
}

/// The commands that `tallyjaw verify` recommends: a shell and `sha256sum`.
const COMMON_TOOLS: &str = include_str!("../../../src/cli/verify_chain.sh");

#[test]
fn the_chain_can_be_checked_with_common_tools() {
    let folder = tempfile::tempdir().unwrap();
    shop(folder.path());
    let run = || {
        let output = Command::new("sh")
            .arg("-c")
            .arg(COMMON_TOOLS)
            .current_dir(folder.path().join("journal"))
            .output()
            .unwrap();
        String::from_utf8(output.stdout).unwrap()
    };
    let last = verified(folder.path()).last_digest.unwrap();
    assert_eq!(run(), format!("holds; last {last}\n"));
    let path = segment(folder.path(), 2);
    let text = fs::read_to_string(&path).unwrap();
    let (head, tail) = text.split_once("2.39").unwrap();
    fs::write(&path, format!("{head}2.38{tail}")).unwrap();
    assert!(
        run().starts_with("broken before {\"v\":1,\"seq\":"),
        "{}",
        run()
    );
}

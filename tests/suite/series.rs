//! `tallyjaw series` on a stored journal: complete outputs.

use crate::export::Folder;
use crate::golden;
use crate::report::made;
use crate::station::desk::{Desk, plan};
use std::fmt::Write as _;
use tallyjaw::entry::history::{Listed, OneSeries};
use tallyjaw::entry::ledger::{Disposition, Series, Whole};
use tallyjaw::entry::{Stamped, Tally};
use tallyjaw::spec::Plan;

#[test]
fn lists_cards_and_refusals_read_as_they_were_written() {
    let folder = Folder::with("V1_EVERY_KIND");
    let mut text = String::new();
    for line in [
        "",
        "--sort outcome --reverse",
        "--sort failed --limit 2",
        "--purpose verification",
        "--axis pull_force",
        "--operator jon --outcome cut_short",
        "--operator mara",
        "--since 2025-11-24T16:10:25Z --until 2025-11-24T16:30:00Z",
        "--after 36",
        "7 30",
        "--tool R-02",
        "7 8",
        "8",
        "show 30",
        "7",
        "--outcome open --json",
    ] {
        let arguments: Vec<&str> = line.split_whitespace().collect();
        let output = folder.run(&[&["series"], &arguments[..]].concat());
        let _ = writeln!(
            text,
            "$ tallyjaw series {line}\n{}{}exit {}\n",
            String::from_utf8_lossy(&output.stdout),
            String::from_utf8_lossy(&output.stderr),
            output.status.code().unwrap()
        );
    }
    golden::assert_same("series/every_kind.txt", &text);
}

/// Tally of a series, computed from its list.
fn listed(series: &Series<()>, entries: &[Stamped]) -> Tally {
    let mut tally = Tally::default();
    for stamped in entries {
        let Some(Whole { reading, .. }) = Whole::of(stamped) else {
            continue;
        };
        let verdict = reading.slot.as_ref().and_then(|slot| slot.verdict);
        let place = match (series.disposition(stamped.seq), verdict) {
            (None | Some(Disposition::NotCounted(_)), _) => &mut tally.not_counted,
            (Some(Disposition::Doubted(_)), _) => &mut tally.doubted,
            (Some(Disposition::Retracted(_)), _) => &mut tally.retracted,
            (Some(Disposition::Counted), Some(verdict)) => tally.of(verdict),
            (Some(Disposition::Counted), None) => panic!("{stamped:?} counts without a verdict"),
        };
        *place += 1;
    }
    tally
}

#[test]
fn every_reading_that_a_tally_counts_is_listed() {
    let mut journals: Vec<Vec<Stamped>> = made::cases().into_iter().map(|case| case.1).collect();
    // an extra press while the closing zero is due, and one of the wrong instrument: neither has a slot
    let mut desk = Desk::new();
    desk.arm(Plan {
        pieces: 1,
        ..plan()
    })
    .unwrap();
    for value in ["0.00", "1.63", "2.40"] {
        desk.press(value);
    }
    desk.press_on("gauge-1", "187");
    for value in ["1.62", "9.99", "0.00"] {
        desk.press(value);
    }
    journals.push(desk.entries);
    let (mut count, mut not_counted) = (0, 0);
    for entries in journals {
        let armed = entries.iter().filter(|one| one.entry.kind() == "armed");
        for id in armed.map(|stamped| stamped.seq) {
            let mut one = OneSeries::new(id);
            for stamped in &entries {
                one.take(stamped);
            }
            let (Listed { series, state }, entries) = one.finish().unwrap();
            let closed = series.closed.as_ref();
            let tally = closed.map_or(state.tally, |closed| closed.completed.tally);
            assert_eq!(listed(&series, &entries), tally, "series {id}");
            count += 1;
            not_counted += tally.not_counted;
        }
    }
    assert!(count > 15 && not_counted >= 5, "{count} {not_counted}");
}

/// Runs the list on a pseudo-terminal of eight lines, with a pager that numbers its input.
const ON_A_TERMINAL: &str = r#"
import fcntl, os, pty, struct, sys, termios
child, terminal = pty.fork()
if child == 0:
    fcntl.ioctl(1, termios.TIOCSWINSZ, struct.pack("HHHH", int(sys.argv[1]), 200, 0, 0))
    os.execv(sys.argv[2], sys.argv[2:])
said = b""
while True:
    try:
        more = os.read(terminal, 65536)
    except OSError:
        break
    if not more:
        break
    said += more
os.waitpid(child, 0)
sys.stdout.buffer.write(said)
"#;

fn on_a_terminal(folder: &Folder, lines: &str, pager: &str) -> String {
    let output = std::process::Command::new("python3")
        .args(["-c", ON_A_TERMINAL, lines, env!("CARGO_BIN_EXE_tallyjaw")])
        .args(["--config", "tallyjaw.toml", "series"])
        .current_dir(folder.path("."))
        .env("PAGER", pager)
        .env("TERM", "xterm")
        .env_remove("NO_COLOR")
        .output()
        .unwrap();
    String::from_utf8(output.stdout).unwrap()
}

#[test]
fn a_list_longer_than_the_terminal_goes_through_the_pager_with_its_colours() {
    let folder = Folder::with("V1_EVERY_KIND");
    let paged = on_a_terminal(&folder, "4", "cat -n");
    assert!(paged.contains("1\tseries  opened"), "{paged}");
    assert!(paged.contains("\u{1b}[1m\u{1b}[31mrejected"), "{paged}");
    for (lines, pager) in [("40", "cat -n"), ("4", ""), ("4", "no-such-pager")] {
        let plain = on_a_terminal(&folder, lines, pager);
        assert!(
            plain.starts_with("series  opened"),
            "{lines} {pager}: {plain}"
        );
    }
}

//! Files beyond 2 and 4 GiB, where a count of 32 bits ends. They are nearly all hole, so they take no room on the disk.
//!
//! On a 64-bit processor these tests show little; `tests/scripts/emulated.sh armv7` runs them by the program of a 32-bit one.

use crate::harness::Shop;
use serde_json::json;
use std::fs::{self, File, OpenOptions};
use std::io::{Read as _, Seek as _, SeekFrom, Write as _};

const GIB: u64 = 1 << 30;

/// A shop that has measured two pieces, and whose daemon has stopped.
fn measured() -> Shop {
    let mut shop = Shop::new();
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    daemon.call("arm", &json!({"plan": "no-zero"}));
    for hundredths in [162, 175] {
        shop.press(hundredths);
        feed.wait_for("reading");
    }
    daemon.stop();
    shop
}

#[test]
fn the_verdict_log_goes_on_behind_five_gigabytes() {
    let mut shop = measured();
    let log = shop.path("state/verdicts.log");
    let short = fs::read(&log).unwrap();
    // The same again, far behind: what stands at its end says up to where the log has come.
    let mut file = OpenOptions::new().write(true).open(&log).unwrap();
    let at = 5 * GIB;
    file.seek(SeekFrom::Start(at)).unwrap();
    file.write_all(b"\n").unwrap();
    file.write_all(&short).unwrap();
    drop(file);

    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    shop.press(163);
    let piece = feed.wait_for("reading")["seq"].as_u64().unwrap();
    daemon.stop();

    let mut file = File::open(&log).unwrap();
    let mut head = vec![0; short.len()];
    file.read_exact(&mut head).unwrap();
    assert_eq!(head, short, "the beginning was written over");
    let mut end = String::new();
    file.seek(SeekFrom::Start(at + 1)).unwrap();
    file.read_to_string(&mut end).unwrap();
    let added = end.as_bytes().strip_prefix(short.as_slice());
    let added = String::from_utf8(added.expect("the end was written over").to_vec()).unwrap();
    assert!(
        added.lines().count() == 1 && added.contains(&format!(" #{piece} ")),
        "{added}"
    );
}

#[test]
fn a_hole_of_three_gigabytes_in_a_segment_is_named_and_takes_no_memory_for_it() {
    let shop = measured();
    let segment = shop.path("state/journal/00000001.jsonl");
    let file = OpenOptions::new().write(true).open(&segment).unwrap();
    let whole = file.metadata().unwrap().len();
    file.set_len(whole + 3 * GIB).unwrap();
    drop(file);
    for arguments in [&["serve"][..], &["verify"]] {
        let output = shop.run(arguments);
        let told = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(4), "{arguments:?}: {told}");
        assert!(
            told.contains("00000001.jsonl: a line of more than 256 MiB"),
            "{arguments:?}: {told}"
        );
    }
    let file = OpenOptions::new().write(true).open(&segment).unwrap();
    assert_eq!(file.metadata().unwrap().len(), whole + 3 * GIB);
    file.set_len(whole).unwrap();
    assert!(shop.run(&["verify"]).status.success());
}

//! The data set of Parquet files that the daemon writes, read by other means.

use crate::harness::{PATIENCE, Shop};
use parquet::file::serialized_reader::SerializedFileReader;
use parquet::record::RowAccessor as _;
use serde_json::json;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

fn shop(every: &str) -> Shop {
    let shop = Shop::with_stations(2);
    let sink = format!(
        "\n[[sink]]\nname = \"lake\"\nkind = \"parquet\"\nfolder = \"lake\"\nevery = \"{every}\"\n"
    );
    shop.write("tallyjaw.toml", &(shop.configuration() + &sink));
    shop
}

/// Every file below the folder.
fn files(folder: &Path) -> Vec<PathBuf> {
    let mut files = Vec::new();
    for item in fs::read_dir(folder).into_iter().flatten() {
        let path = item.unwrap().path();
        if path.is_dir() {
            files.extend(self::files(&path));
        } else {
            files.push(path);
        }
    }
    files.sort();
    files
}

/// Numbers of all readings in the data set, as often as each occurs. A file that cannot be read fails the test.
fn seqs(shop: &Shop) -> Vec<i64> {
    let mut seqs = Vec::new();
    for path in files(&shop.path("lake")) {
        if path.extension().is_none_or(|name| name != "parquet") {
            continue; // hidden, on its way
        }
        let reader = SerializedFileReader::new(fs::File::open(&path).unwrap()).unwrap();
        for row in reader {
            let row = row.unwrap();
            let at = row.get_column_iter().position(|(name, _)| name == "seq");
            seqs.push(row.get_long(at.unwrap()).unwrap());
        }
    }
    seqs.sort_unstable();
    seqs
}

/// Readings that the data set must hold by the journal: those of closed series, and those outside a series.
fn wanted(shop: &Shop) -> Vec<i64> {
    let folder = shop.tallyjaw(&["export", "csv", "--since-last", &format!("t{}", random())]);
    let mut folder = folder;
    let output = folder.output().unwrap();
    let mut lines = csv::Reader::from_reader(&output.stdout[..]);
    let seqs = lines
        .records()
        .map(|line| line.unwrap()[1].parse().unwrap());
    let mut seqs: Vec<i64> = seqs.collect();
    seqs.sort_unstable();
    seqs
}

/// A random number as a mark.
fn random() -> u128 {
    let now = std::time::SystemTime::now();
    now.duration_since(std::time::UNIX_EPOCH)
        .unwrap()
        .as_nanos()
}

fn until(what: &str, mut is_so: impl FnMut() -> bool) {
    let from = Instant::now();
    while !is_so() {
        assert!(from.elapsed() < PATIENCE, "{what}");
        std::thread::sleep(Duration::from_millis(5));
    }
}

#[test]
fn a_closed_series_stands_in_the_file_of_its_station_and_day_and_an_open_one_waits() {
    let mut shop = shop("1 ms");
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    shop.press(170); // no series is open
    feed.wait_for("reading");
    let journal = until_there(&shop);
    let loose = seqs(&shop);
    assert_eq!(loose.len(), 1);
    daemon.call("arm", &json!({"station": "bench-1", "plan": "no-zero"}));
    for value in [162, 163, 161, 162, 164] {
        shop.press(value);
        feed.wait_for("reading");
    }
    feed.wait_for("completed");
    until("the closed series is there", || seqs(&shop).len() == 6);
    shop.press(163); // belongs to the next series, which is open
    feed.wait_for("reading");
    daemon.stop();
    assert_eq!(seqs(&shop), wanted(&shop));
    let names: Vec<_> = files(&shop.path("lake"));
    let [only] = &names[..] else {
        panic!("{names:?}");
    };
    assert_eq!(only, &journal);
    // it carries its question, so that missing rows would be found
    let output = shop.tallyjaw(&["verify", only.to_str().unwrap()]).output();
    let said = String::from_utf8(output.unwrap().stdout).unwrap();
    assert!(
        said.contains("in all of its 6 rows, and none is missing\n"),
        "{said}"
    );
    assert!(
        said.contains("  question  readings, station=bench-1, since=20"),
        "{said}"
    );
    assert_is_an_anchor(&shop, only);
}

/// A file says of which entries it was made, so a journal that was cut before the last of them is found by it.
fn assert_is_an_anchor(shop: &Shop, file: &Path) {
    let anchored = || {
        let output = shop.run(&["verify", "--anchor", file.to_str().unwrap()]);
        (
            output.status.code(),
            String::from_utf8(output.stdout).unwrap(),
        )
    };
    let (code, said) = anchored();
    assert_eq!(code, Some(0), "{said}");
    assert!(
        said.contains("  anchors   1 of 1 met, the last of entry "),
        "{said}"
    );
    let lines = shop.journal_lines();
    let journal = shop.path("state/journal/00000001.jsonl");
    fs::write(&journal, lines[..4].concat()).unwrap();
    let (code, said) = anchored();
    assert_eq!(code, Some(1), "{said}");
    assert!(
        said.contains("the journal ends before an anchor: it was cut"),
        "{said}"
    );
    fs::write(&journal, lines.concat()).unwrap();
}

/// The signatures of the data set that hold for their files by the key that was kept, and the number of files.
fn signed(shop: &Shop, kept: &str) -> (usize, usize) {
    let files: Vec<_> = files(&shop.path("lake"))
        .into_iter()
        .filter(|path| path.extension().is_some_and(|name| name == "parquet"))
        .collect();
    let is_signed = |path: &&PathBuf| {
        let beside = format!("{}.sig", path.display());
        let Ok(signature) = fs::read_to_string(beside) else {
            return false;
        };
        let bytes = fs::read(path).unwrap();
        let found = crate::seals::ssh_keygen(shop, kept, &signature, &bytes);
        assert!(found.status.success(), "{}: {found:?}", path.display());
        true
    };
    (files.iter().filter(is_signed).count(), files.len())
}

fn keep(shop: &Shop, name: &str) {
    fs::write(shop.path(name), shop.run(&["key", "show"]).stdout).unwrap();
}

#[test]
fn every_file_is_signed_and_a_rewritten_one_again_by_the_key_of_then() {
    let mut shop = shop("1 ms");
    let round = |shop: &mut Shop, value: i64| {
        let daemon = shop.start();
        let mut feed = daemon.connected_feed();
        for hundredths in [value, value + 1] {
            shop.press(hundredths);
            feed.wait_for("reading");
        }
        daemon.stop();
        assert_eq!(seqs(shop), wanted(shop));
    };
    round(&mut shop, 160);
    assert_eq!(files(&shop.path("lake")).len(), 1, "no key, no signature");
    shop.run(&["key", "make"]);
    keep(&shop, "first.allowed");
    round(&mut shop, 161);
    assert_eq!(signed(&shop, "first.allowed"), (1, 1));
    let [file, _] = &files(&shop.path("lake"))[..] else {
        panic!("want a file and its signature");
    };
    let verified = |shop: &Shop, kept: &str| {
        let kept = shop.path(kept);
        let output = shop.run(&[
            "verify",
            file.to_str().unwrap(),
            "--key",
            kept.to_str().unwrap(),
        ]);
        String::from_utf8(output.stdout).unwrap()
    };
    let said = verified(&shop, "first.allowed");
    assert!(said.contains("signed by the trusted key"), "{said}");
    assert!(said.contains("and none is missing\n"), "{said}");
    shop.run(&["key", "rotate"]);
    keep(&shop, "second.allowed");
    round(&mut shop, 162);
    assert_eq!(signed(&shop, "second.allowed"), (1, 1));
    let said = verified(&shop, "first.allowed");
    assert!(said.contains("that you trust, has signed"), "{said}");

    // With a key that others may read the file is written, and its old signature is gone.
    let key = shop.path("state/signing.key");
    fs::set_permissions(&key, std::os::unix::fs::PermissionsExt::from_mode(0o644)).unwrap();
    round(&mut shop, 163);
    assert_eq!(files(&shop.path("lake")).len(), 1);
    let said = shop.messages();
    assert!(
        said.contains("files of the data set are not signed"),
        "{said}"
    );
}

/// Waits for the first file, in its documented path.
fn until_there(shop: &Shop) -> PathBuf {
    until("a file is there", || !seqs(shop).is_empty());
    let files = files(&shop.path("lake"));
    let text = files[0]
        .strip_prefix(shop.path("lake"))
        .unwrap()
        .to_str()
        .unwrap();
    let parts: Vec<_> = text.split('/').collect();
    assert_eq!(parts[0], "station=bench-1");
    assert!(
        parts[1].starts_with("day=20") && parts[1].len() == 14,
        "{text}"
    );
    assert!(
        parts[2].ends_with(".parquet") && parts[2].len() == 40,
        "{text}"
    );
    files[0].clone()
}

#[test]
fn killed_at_any_moment_no_reading_is_missing_and_none_is_there_twice() {
    let mut shop = shop("1 ms");
    shop.run(&["key", "make"]);
    keep(&shop, "kept.allowed");
    for round in 0..8_i64 {
        let daemon = shop.start();
        if round == 0 {
            for station in ["bench-1", "bench-2"] {
                daemon.call("arm", &json!({"station": station, "plan": "no-zero"}));
            }
        }
        let mut feed = daemon.connected_feed();
        for value in 0..(7 + 3 * round) {
            shop.press_at(
                usize::try_from(1 + value % 2).unwrap(),
                160 + (value + round) % 5,
            );
            feed.wait_for("reading");
        }
        daemon.kill();
        let there = seqs(&shop); // every file is whole
        let mut once = there.clone();
        once.dedup();
        assert_eq!(there, once);
        signed(&shop, "kept.allowed"); // none is of other bytes than its file
    }
    shop.start().stop();
    assert_eq!(seqs(&shop), wanted(&shop));
    assert_eq!(signed(&shop, "kept.allowed"), (2, 2));
}

#[test]
fn a_lost_cursor_or_a_lost_file_is_made_again_from_the_journal() {
    let mut shop = shop("1 ms");
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    daemon.call("arm", &json!({"station": "bench-1", "plan": "no-zero"}));
    for piece in 0..10 {
        shop.press(161 + piece % 3); // the same again at once would be a bounce
        feed.wait_for("reading");
    }
    daemon.stop();
    let want = wanted(&shop);
    assert_eq!(seqs(&shop), want);
    fs::remove_dir_all(shop.path("lake")).unwrap();
    fs::remove_file(shop.path("state/sinks/lake.json")).unwrap();
    shop.start().stop();
    assert_eq!(seqs(&shop), want);
    fs::write(shop.path("state/sinks/lake.json"), "{").unwrap();
    shop.start().stop();
    assert_eq!(seqs(&shop), want);
}

#[test]
fn a_folder_that_cannot_be_written_delays_nobody_and_is_caught_up_with() {
    let mut shop = shop("1 ms");
    fs::write(shop.path("lake"), "in the way").unwrap();
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    daemon.call("arm", &json!({"station": "bench-1", "plan": "no-zero"}));
    for piece in 0..5 {
        shop.press(161 + piece % 3);
        feed.wait_for("reading");
    }
    until("it is said", || shop.messages().contains("the sink fails"));
    fs::remove_file(shop.path("lake")).unwrap();
    daemon.stop();
    shop.start().stop();
    assert_eq!(seqs(&shop), wanted(&shop));
}

#[test]
fn a_day_whose_readings_were_moved_away_with_a_segment_keeps_its_file() {
    let mut shop = shop("1 ms");
    let small = |shop: &Shop| {
        let mut command = shop.tallyjaw(&["serve"]);
        command.env("TALLYJAW_TEST_SEGMENT_BYTES", "12000");
        shop.start_by(command)
    };
    let daemon = small(&shop);
    let mut feed = daemon.connected_feed();
    daemon.call("arm", &json!({"station": "bench-1", "plan": "no-zero"}));
    for piece in 0..60 {
        shop.press(161 + piece % 3);
        feed.wait_for("reading");
    }
    daemon.stop();
    let whole = seqs(&shop);
    assert_eq!(whole, wanted(&shop));

    let journal = shop.path("state/journal");
    let moved: Vec<_> = files(&journal).into_iter().take(2).collect();
    let names = moved.iter().map(|path| path.file_name().unwrap());
    let elsewhere: Vec<_> = names.map(|name| shop.path("").join(name)).collect();
    for (from, to) in moved.iter().zip(&elsewhere) {
        fs::rename(from, to).unwrap();
    }
    let daemon = small(&shop);
    let mut feed = daemon.connected_feed();
    for piece in 0..5 {
        shop.press(162 + piece % 3);
        feed.wait_for("reading");
    }
    until("it is said", || {
        shop.messages()
            .contains("the file of this day stays as it is")
    });
    daemon.stop();
    assert_eq!(seqs(&shop), whole);
    fs::remove_file(shop.path("state/sinks/lake.json")).unwrap();
    small(&shop).stop();
    assert_eq!(seqs(&shop), whole);

    for (to, from) in moved.iter().zip(&elsewhere) {
        fs::rename(from, to).unwrap();
    }
    fs::remove_file(shop.path("state/sinks/lake.json")).unwrap();
    small(&shop).stop();
    assert_eq!(seqs(&shop), wanted(&shop));
    assert!(seqs(&shop).len() > whole.len());
}

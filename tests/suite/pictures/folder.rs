//! The folder of a station in which a camera's program leaves pictures, with real files and a real daemon.

use super::draw::{bomb, jpeg, png};
use super::{measured, names, pictured, stored, verified};
use crate::harness::{Daemon, Lines, Shop};
use crate::texts::assert_has;
use serde_json::{Value, json};
use std::fs::{self, File, FileTimes};
use std::io::Write as _;
use std::os::unix::fs::{PermissionsExt, symlink};
use std::path::PathBuf;
use std::time::{Duration, SystemTime};

/// A shop whose station has a folder of pictures, which is not made yet.
fn shop() -> Shop {
    let shop = Shop::new();
    watch(&shop, "camera");
    shop
}

/// Has the configuration name this folder.
fn watch(shop: &Shop, folder: &str) {
    let text = shop.configuration().replace(
        "name = \"bench-1\"\n",
        &format!("name = \"bench-1\"\npictures = \"{folder}\"\n"),
    );
    shop.write("tallyjaw.toml", &text);
}

/// A daemon with a series of which two pieces are measured, and a folder.
fn watched(shop: &mut Shop) -> (Daemon, u64, Lines) {
    fs::create_dir(shop.path("camera")).unwrap();
    let (daemon, series) = measured(shop);
    let feed = daemon.connected_feed();
    (daemon, series, feed)
}

/// Leaves a file in the folder.
fn leave(shop: &Shop, name: &str, bytes: &[u8]) -> PathBuf {
    let path = shop.path("camera").join(name);
    fs::write(&path, bytes).unwrap();
    path
}

/// What the pictures of the journal are of: file and piece.
fn entered(shop: &Shop) -> Vec<(String, Value)> {
    let entries = pictured(shop).into_iter();
    let of = entries.map(|entry| {
        let name = entry["file_name"].as_str().unwrap().to_owned();
        (name, entry["piece"].clone())
    });
    of.collect()
}

/// What was refused: file and reason.
fn refused(shop: &Shop) -> Vec<(String, String)> {
    let lines = shop.journal_lines().into_iter();
    let entries = lines.map(|line| serde_json::from_str::<Value>(&line).unwrap());
    let refused = entries.filter(|entry| entry["kind"] == "refused");
    let text = |value: &Value| value.as_str().unwrap().to_owned();
    let said = refused.map(|entry| {
        assert_eq!(entry["instrument"], "pictures");
        assert_has("daemon.help.", entry["remedy"].as_str().unwrap());
        assert_has("daemon.", entry["reason"].as_str().unwrap());
        (text(&entry["said"]), text(&entry["reason"]))
    });
    said.collect()
}

/// Sets the time of its last change this long back.
fn make_older(path: &PathBuf, by: Duration) {
    let file = File::options().append(true).open(path).unwrap();
    let then = SystemTime::now() - by;
    file.set_times(FileTimes::new().set_modified(then)).unwrap();
}

#[test]
fn each_finished_picture_is_entered_once_as_of_the_piece_measured_last() {
    let mut shop = shop();
    let (_daemon, series, mut feed) = watched(&mut shop);
    let bytes = jpeg(1, (320, 240));
    let first = leave(&shop, "one.jpg", &bytes);
    let entry = feed.wait_for("pictured");
    assert_eq!(entry["by"], "folder");
    assert_eq!(
        (&entry["series"], &entry["piece"]),
        (&json!(series), &json!(2))
    );
    let digest = entry["picture"].as_str().unwrap();
    let kept = stored(&shop).join(format!("{digest}.jpg"));
    assert_eq!(fs::read(kept).unwrap(), bytes);
    assert_eq!(fs::read(&first).unwrap(), bytes, "the folder is as it was");

    // What a program still writes is not taken, nor what is no picture, nor the same picture again.
    let second = jpeg(2, (320, 240));
    let path = shop.path("camera/two.jpg");
    let mut half = File::create(&path).unwrap();
    half.write_all(&second[..second.len() / 2]).unwrap();
    half.sync_all().unwrap();
    leave(&shop, "three.jpg.part", &jpeg(3, (320, 240)));
    leave(&shop, ".hidden.jpg", &jpeg(4, (320, 240)));
    leave(&shop, "notes.txt", b"1.62 mm");
    leave(&shop, "again.jpg", &bytes);
    fs::rename(&first, shop.path("camera/moved.jpg")).unwrap();
    shop.press(160);
    feed.wait_for("reading");
    // Finished by its new name, by a link, and by its last byte.
    let from = shop.path("camera/three.jpg.part");
    fs::rename(from, shop.path("camera/three.jpg")).unwrap();
    assert_eq!(feed.wait_for("pictured")["file_name"], "three.jpg");
    let outside = shop.path("outside");
    fs::write(&outside, png(5, (64, 64))).unwrap();
    fs::hard_link(&outside, shop.path("camera/linked.png")).unwrap();
    assert_eq!(feed.wait_for("pictured")["file_name"], "linked.png");
    half.write_all(&second[second.len() / 2..]).unwrap();
    drop(half);
    assert_eq!(feed.wait_for("pictured")["file_name"], "two.jpg");
    let of = |name: &str, piece: u32| (name.to_owned(), json!(piece));
    let want = [
        of("one.jpg", 2),
        of("three.jpg", 3),
        of("linked.png", 3),
        of("two.jpg", 3),
    ];
    assert_eq!(entered(&shop), want);
    assert_eq!(refused(&shop), []);
    assert_eq!(verified(&shop).0, 0);
}

#[test]
fn a_picture_is_of_what_was_measured_last_when_it_was_finished_also_if_many_come_before_it() {
    let mut shop = shop();
    let (daemon, _, mut feed) = watched(&mut shop);
    for number in 0..12 {
        leave(&shop, &format!("{number}.jpg"), &jpeg(number, (1600, 1200)));
    }
    feed.wait_for("pictured");
    daemon.call("status", &json!({}));
    shop.press(160);
    for _ in 1..12 {
        feed.wait_for("pictured");
    }
    let of: Vec<Value> = entered(&shop).into_iter().map(|(_, piece)| piece).collect();
    assert_eq!(of, vec![json!(2); 12]);
}

#[test]
fn what_is_not_taken_is_entered_as_refused_once_with_the_reason() {
    let mut shop = shop();
    let (daemon, _, mut feed) = watched(&mut shop);
    let whole = jpeg(1, (320, 240));
    for (name, bytes, why) in [
        (
            "cut.tif",
            b"II*\0 and so on".to_vec(),
            "got a TIFF picture, want a JPEG or PNG picture",
        ),
        (
            "bomb.png",
            bomb((10_000, 10_000)),
            "got 10000 × 10000 pixels, want at most 50 million",
        ),
        (
            "page.jpg",
            b"<svg/>".to_vec(),
            "got SVG, HTML or another text with tags",
        ),
        (
            "huge.jpg",
            vec![0; 20 * 1024 * 1024 + 1],
            "got more than 20971520 bytes",
        ),
        (
            "zip.jpg",
            [&whole[..], b"PK\x03\x04"].concat(),
            "has 4 bytes after its end",
        ),
    ] {
        leave(&shop, name, &bytes);
        let entry = feed.wait_for("refused");
        assert_eq!(entry["said"], name);
        assert!(entry["reason"].as_str().unwrap().contains(why), "{entry}");
    }
    symlink(shop.path("tallyjaw.toml"), shop.path("camera/link.jpg")).unwrap();
    assert_eq!(
        feed.wait_for("refused")["reason"],
        "it is a link, want the picture itself"
    );
    // Neither waited for nor opened for ever.
    let fifo = shop.path("camera/fifo.jpg");
    rustix::fs::mkfifoat(rustix::fs::CWD, &fifo, 0o600.into()).unwrap();
    assert_eq!(
        feed.wait_for("refused")["reason"],
        "it is no regular file, want a picture"
    );
    let state = &daemon.call("status", &json!({}))["state"]["stations"][0];
    assert_eq!(state["refused"]["said"], "fifo.jpg");

    // A program that closes a file and goes on writing: only what stays cut off is refused.
    leave(&shop, "late.jpg", &whole[..whole.len() / 2]);
    leave(&shop, "half.jpg", &whole[..whole.len() / 2]);
    leave(&shop, "empty.jpg", b"");
    leave(&shop, "late.jpg", &whole);
    assert_eq!(feed.wait_for("pictured")["file_name"], "late.jpg");
    let last = [feed.wait_for("refused"), feed.wait_for("refused")];
    let mut last: Vec<&str> = last
        .iter()
        .map(|entry| entry["said"].as_str().unwrap())
        .collect();
    last.sort_unstable();
    assert_eq!(last, ["empty.jpg", "half.jpg"]);
    let before = refused(&shop);
    assert_eq!(before.len(), 9);
    assert_eq!(names(&stored(&shop)).len(), 2);

    // Not again after a kill.
    daemon.kill();
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    leave(&shop, "next.jpg", &jpeg(2, (64, 64)));
    feed.wait_for("pictured");
    assert_eq!(refused(&shop), before);
    assert_eq!(entered(&shop).len(), 2);
}

#[test]
fn a_series_that_is_not_there_or_full_of_pictures_refuses_a_file_and_says_what_to_do() {
    let mut shop = shop();
    let (daemon, _, mut feed) = watched(&mut shop);
    for number in 0..100 {
        leave(
            &shop,
            &format!("{number}.png"),
            &png(number, (16 + number, 12)),
        );
        feed.wait_for("pictured");
    }
    leave(&shop, "surplus.png", &png(100, (160, 12)));
    let entry = feed.wait_for("refused");
    assert!(
        entry["reason"]
            .as_str()
            .unwrap()
            .contains("has 100 pictures already"),
        "{entry}"
    );
    assert_eq!(entry["remedy"], "take fewer, or start the next series");
    drop(daemon);
}

#[test]
fn after_a_start_only_what_is_newer_than_the_last_reading_is_taken() {
    let mut shop = shop();
    fs::create_dir(shop.path("camera")).unwrap();
    // Nothing was measured when these were made.
    let old = leave(&shop, "old.jpg", &jpeg(1, (64, 64)));
    make_older(&old, Duration::from_secs(3600));
    leave(&shop, "old.tif", b"II*\0");
    let (daemon, _) = measured(&mut shop);
    let mut feed = daemon.connected_feed();
    leave(&shop, "seen.jpg", &jpeg(2, (64, 64)));
    feed.wait_for("pictured");
    daemon.kill();

    leave(&shop, "meanwhile.jpg", &jpeg(3, (64, 64)));
    leave(&shop, "copied.jpg", &jpeg(2, (64, 64)));
    let late = leave(&shop, "of_another_day.jpg", &jpeg(4, (64, 64)));
    make_older(&late, Duration::from_secs(86_400));
    let daemon = shop.start();
    let mut feed = daemon.feed_from_the_beginning();
    while feed.wait_for("pictured")["file_name"] != "meanwhile.jpg" {}
    let (status, _) = daemon.stop();
    assert!(status.success());
    let files: Vec<String> = entered(&shop).into_iter().map(|(name, _)| name).collect();
    assert_eq!(files, ["seen.jpg", "meanwhile.jpg"]);
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    leave(&shop, "last.jpg", &jpeg(5, (64, 64)));
    feed.wait_for("pictured");
    assert_eq!(entered(&shop).len(), 3);
    assert_eq!(verified(&shop).0, 0);
}

/// What `status` says of the folder, once it says so or no more.
fn trouble(daemon: &Daemon, wanted: bool) -> Value {
    let deadline = std::time::Instant::now() + Duration::from_secs(60);
    loop {
        let status = daemon.call("status", &json!({}));
        if status["folders"].is_array() == wanted {
            return status["folders"][0].clone();
        }
        assert!(std::time::Instant::now() < deadline, "{status}");
        std::thread::sleep(Duration::from_millis(50));
    }
}

#[test]
fn a_folder_that_goes_away_is_said_and_watched_again_when_it_comes_back() {
    let mut shop = shop();
    let (daemon, _) = measured(&mut shop);
    let mut feed = daemon.connected_feed();
    let said = trouble(&daemon, true);
    assert_eq!(said["station"], "bench-1");
    let message = said["message"].as_str().unwrap();
    assert!(
        message.contains("camera cannot be watched: No such file"),
        "{message}"
    );
    assert_has("daemon.picture.folder", message);
    assert_has("daemon.help.", said["remedy"].as_str().unwrap());
    let out = String::from_utf8(shop.run(&["status"]).stdout).unwrap();
    assert!(
        out.contains("pictures of bench-1: the folder of pictures"),
        "{out}"
    );

    fs::create_dir(shop.path("camera")).unwrap();
    leave(&shop, "1.jpg", &jpeg(1, (64, 64)));
    feed.wait_for("pictured");
    trouble(&daemon, false);
    // Moved away with what is in it, and another one in its place.
    fs::rename(shop.path("camera"), shop.path("away")).unwrap();
    trouble(&daemon, true);
    fs::write(shop.path("away/not_here.jpg"), jpeg(2, (64, 64))).unwrap();
    fs::create_dir(shop.path("camera")).unwrap();
    leave(&shop, "3.jpg", &jpeg(3, (64, 64)));
    feed.wait_for("pictured");
    // Removed, and a link in its place, which then leads elsewhere.
    fs::remove_dir_all(shop.path("camera")).unwrap();
    symlink("away", shop.path("camera")).unwrap();
    assert_eq!(feed.wait_for("pictured")["file_name"], "not_here.jpg");
    fs::create_dir(shop.path("other")).unwrap();
    fs::remove_file(shop.path("camera")).unwrap();
    symlink("other", shop.path("camera")).unwrap();
    fs::write(shop.path("other/4.jpg"), jpeg(4, (64, 64))).unwrap();
    assert_eq!(feed.wait_for("pictured")["file_name"], "4.jpg");
    fs::write(shop.path("other/5.jpg"), jpeg(5, (64, 64))).unwrap();
    assert_eq!(feed.wait_for("pictured")["file_name"], "5.jpg");
    trouble(&daemon, false);
    // A file in its place is no folder.
    fs::remove_file(shop.path("camera")).unwrap();
    shop.write("camera", "");
    let said = trouble(&daemon, true);
    assert!(
        said["message"]
            .as_str()
            .unwrap()
            .contains("not a directory"),
        "{said}"
    );
    assert_eq!(entered(&shop).len(), 5);
}

#[test]
fn a_reload_follows_the_folder_and_a_folder_that_may_only_be_read_serves() {
    let mut shop = Shop::new();
    let (daemon, _) = measured(&mut shop);
    let mut feed = daemon.connected_feed();
    fs::create_dir(shop.path("camera")).unwrap();
    leave(&shop, "1.jpg", &jpeg(1, (64, 64)));
    watch(&shop, "camera");
    fs::set_permissions(shop.path("camera"), PermissionsExt::from_mode(0o555)).unwrap();
    daemon.call("reload", &json!({}));
    assert_eq!(feed.wait_for("pictured")["file_name"], "1.jpg");
    fs::set_permissions(shop.path("camera"), PermissionsExt::from_mode(0o755)).unwrap();
    // Another reload changes nothing about it.
    daemon.call("reload", &json!({}));
    leave(&shop, "2.jpg", &jpeg(2, (64, 64)));
    assert_eq!(feed.wait_for("pictured")["file_name"], "2.jpg");
    fs::create_dir(shop.path("second")).unwrap();
    watch(&shop, "second");
    daemon.call("reload", &json!({}));
    leave(&shop, "3.jpg", &jpeg(3, (64, 64)));
    fs::write(shop.path("second/4.jpg"), jpeg(4, (64, 64))).unwrap();
    assert_eq!(feed.wait_for("pictured")["file_name"], "4.jpg");
    watch(&shop, "missing");
    daemon.call("reload", &json!({}));
    trouble(&daemon, true);
    shop.write("tallyjaw.toml", &shop.configuration());
    daemon.call("reload", &json!({}));
    trouble(&daemon, false);
    assert_eq!(entered(&shop).len(), 3);
}

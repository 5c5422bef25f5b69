//! Pictures from outside: the command, what is stored, what is refused, kills, and what `verify` finds.

pub(crate) mod draw;
mod folder;
mod reports;

use crate::harness::{Daemon, Shop};
use draw::{bomb, jpeg, png, with_exif};
use serde_json::{Value, json};
use std::fs;
use std::os::unix::fs::symlink;
use std::path::{Path, PathBuf};
use std::process::Output;
use tallyjaw::entry::line::Digest;

fn said(output: &Output) -> (i32, String, String) {
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).unwrap();
    (
        output.status.code().unwrap(),
        text(&output.stdout),
        text(&output.stderr),
    )
}

/// A daemon with a series of which two pieces are measured.
fn measured(shop: &mut Shop) -> (Daemon, u64) {
    let daemon = shop.start();
    let series = daemon.call("arm", &json!({"plan": "no-zero"}))["seq"]
        .as_u64()
        .unwrap();
    let mut feed = daemon.connected_feed();
    for value in [162, 161] {
        shop.press(value);
        feed.wait_for("reading");
    }
    (daemon, series)
}

fn put(shop: &Shop, name: &str, bytes: &[u8]) -> PathBuf {
    let path = shop.path(name);
    fs::write(&path, bytes).unwrap();
    path
}

/// `tallyjaw picture` with a file of this name and these bytes.
fn picture(shop: &Shop, name: &str, bytes: &[u8], options: &[&str]) -> (i32, String, String) {
    let path = put(shop, name, bytes);
    given(shop, &path, options)
}

fn given(shop: &Shop, path: &Path, options: &[&str]) -> (i32, String, String) {
    let mut arguments = vec!["picture", path.to_str().unwrap()];
    arguments.extend(options);
    said(&shop.run(&arguments))
}

/// The entries `pictured`, as they are on disk.
fn pictured(shop: &Shop) -> Vec<Value> {
    let lines = shop.journal_lines().into_iter();
    let entries = lines.map(|line| serde_json::from_str::<Value>(&line).unwrap());
    entries
        .filter(|entry| entry["kind"] == "pictured")
        .collect()
}

fn stored(shop: &Shop) -> PathBuf {
    shop.path("state/pictures")
}

/// Names in a folder, in order; none where there is no folder.
fn names(folder: &Path) -> Vec<String> {
    let Ok(items) = fs::read_dir(folder) else {
        return Vec::new();
    };
    let names = items.map(|item| item.unwrap().file_name().into_string().unwrap());
    let mut names: Vec<String> = names.collect();
    names.sort();
    names
}

fn verified(shop: &Shop) -> (i32, String) {
    let (code, out, err) = said(&shop.run(&["verify"]));
    assert_eq!(err, "");
    (code, out)
}

#[test]
fn a_picture_is_stored_unchanged_and_entered_as_of_the_piece_measured_last() {
    let mut shop = Shop::new();
    let (_daemon, series) = measured(&mut shop);
    let bytes = with_exif(&jpeg(1, (1200, 800)), 6);
    let (code, out, err) = picture(&shop, "cut.jpg", &bytes, &[]);
    assert_eq!((code, err.as_str()), (0, ""));
    let entered = pictured(&shop);
    let [entry] = entered.as_slice() else {
        panic!("{entered:?}");
    };
    let seq = entry["seq"].as_u64().unwrap();
    assert_eq!(
        out,
        format!("cut.jpg entered as of piece 2 of series {series} (entry {seq})\n")
    );
    let digest = Digest::of(&bytes).to_string();
    for (field, want) in [
        ("station", json!("bench-1")),
        ("series", json!(series)),
        ("piece", json!(2)),
        ("picture", json!(digest)),
        ("picture_format", json!("jpg")),
        ("size_bytes", json!(bytes.len())),
        ("width_px", json!(1200)),
        ("height_px", json!(800)),
        ("file_name", json!("cut.jpg")),
        ("by", json!("command")),
    ] {
        assert_eq!(entry[field], want, "{field}");
    }
    let file = stored(&shop).join(format!("{digest}.jpg"));
    assert_eq!(fs::read(file).unwrap(), bytes);

    // The small copy is turned as the camera was held, and says neither place nor device.
    let shown = entry["shown"].as_str().unwrap();
    let small = fs::read(stored(&shop).join(format!("small/{shown}.jpg"))).unwrap();
    assert_eq!(Digest::of(&small).to_string(), shown);
    let copy = image::load_from_memory(&small).unwrap();
    assert_eq!((copy.width(), copy.height()), (320, 480));
    let finds = |text: &[u8]| small.windows(text.len()).any(|part| part == text);
    assert!(!finds(b"SECRETS") && !finds(b"Exif"));

    let (code, out, _) = said(&shop.run(&["series", &series.to_string()]));
    assert_eq!(code, 0);
    assert!(
        out.contains(&format!(
            "picture cut.jpg of piece 2 of series {series}: 1200 × 800 pixels, SHA-256 {digest}"
        )),
        "{out}"
    );
    assert!(out.contains("1 picture"), "{out}");
    let (code, out) = verified(&shop);
    assert_eq!(code, 0, "{out}");
    assert!(
        out.contains("pictures  1 compared with their digests"),
        "{out}"
    );
}

#[test]
fn a_picture_names_a_piece_and_a_series_that_exist_also_after_the_outcome() {
    let mut shop = Shop::new();
    let (daemon, series) = measured(&mut shop);
    let bytes = png(2, (300, 200));
    let at = |options: &[&str]| picture(&shop, "cut.png", &bytes, options);
    let (code, _, err) = at(&["--piece", "7"]);
    assert_eq!(code, 2);
    assert!(
        err.contains(&format!("piece 7 of series {series} was not measured")),
        "{err}"
    );
    let (code, out, _) = at(&["--piece", "1"]);
    assert!(code == 0 && out.contains("as of piece 1 of"), "{out}");
    daemon.call("disarm", &json!({}));
    let (code, out, _) = at(&[]);
    assert!(code == 0 && out.contains("as of piece 2 of"), "{out}");

    // Two series later, and after a kill: a cross-section takes its time.
    for _ in 0..2 {
        daemon.call("arm", &json!({"plan": "no-zero", "cut": true}));
    }
    daemon.kill();
    let daemon = shop.start();
    let number = series.to_string();
    let (code, out, _) = at(&["--series", &number, "--piece", "1"]);
    assert!(code == 0 && out.contains("as of piece 1 of"), "{out}");
    let (code, out, _) = at(&["--series", &number]);
    assert!(
        code == 0 && out.contains(&format!("entered as of series {series} (")),
        "{out}"
    );
    for (options, want) in [
        (
            &["--series", &number, "--piece", "3"][..],
            format!("piece 3 of series {series} was not measured, want one of 1, 2"),
        ),
        (
            &["--series", "2", "--piece", "1"],
            "no series 2 in this journal".to_owned(),
        ),
        (
            &["--series", "999999"],
            "no series 999999 in this journal".to_owned(),
        ),
        (
            &["--station", "bench-9"],
            "no station \"bench-9\"".to_owned(),
        ),
    ] {
        let before = names(&stored(&shop));
        let (code, _, err) = at(options);
        assert_eq!(code, 2, "{options:?}: {err}");
        assert!(err.contains(&want), "{options:?}: {err}");
        assert!(err.contains("help: "), "{err}");
        assert_eq!(names(&stored(&shop)), before);
    }
    drop(daemon);
    // The same bytes five times: one file, one small copy.
    assert_eq!(pictured(&shop).len(), 4);
    assert_eq!(names(&stored(&shop)).len(), 2);
    assert_eq!(verified(&shop).0, 0);
}

#[test]
fn without_a_series_a_picture_is_refused_and_nothing_stays() {
    let shop = Shop::new();
    let daemon = shop.start();
    let (code, _, err) = picture(&shop, "cut.jpg", &jpeg(1, (200, 200)), &[]);
    assert_eq!(code, 2);
    assert!(
        err.contains("no series is open at bench-1, and none was closed within ten minutes")
            && err.contains("tallyjaw picture FILE --series NUMBER"),
        "{err}"
    );
    assert_eq!(names(&stored(&shop)), ["small"]);
    assert_eq!(names(&stored(&shop).join("small")), Vec::<String>::new());
    drop(daemon);
    let (code, _, err) = picture(&shop, "cut.jpg", &jpeg(1, (200, 200)), &[]);
    assert_eq!(code, 3, "{err}");
}

#[test]
#[expect(clippy::too_many_lines, reason = "one of each kind")]
fn what_is_no_picture_is_refused_with_what_it_is_and_what_to_do() {
    let mut shop = Shop::new();
    let (daemon, _) = measured(&mut shop);
    let whole = jpeg(3, (640, 480));
    let zip = b"PK\x03\x04 a whole archive PK\x05\x06".as_slice();
    let mut huge = whole.clone();
    huge.resize(20 * 1024 * 1024 + 1, 0);
    let mut flipped = png(3, (64, 64));
    let middle = flipped.len() / 2;
    flipped[middle] ^= 1;
    let cut_png = png(3, (64, 64));
    let garbage = [
        &b"\xff\xd8\xff\xe0\0\x10JFIF\0\x01\x01\0\0\x01\0\x01\0\0"[..],
        b"\xff\xd9",
    ]
    .concat();
    let cases: [(&str, Vec<u8>, &str, &str); 16] = [
        (
            "empty.jpg",
            Vec::new(),
            "the file is empty",
            "save it as JPEG or PNG",
        ),
        (
            "a.gif",
            b"GIF89a\x01\0\x01\0".to_vec(),
            "got a GIF picture, want a JPEG or PNG",
            "save it as",
        ),
        (
            "a.svg",
            b"<svg xmlns=\"http://www.w3.org/2000/svg\"><script/></svg>".to_vec(),
            "got SVG, HTML or another text with tags",
            "save it as",
        ),
        (
            "svg.jpg",
            b" \n<svg/>".to_vec(),
            "got SVG, HTML",
            "save it as",
        ),
        (
            "a.heic",
            b"\0\0\0\x18ftypheic".to_vec(),
            "got a HEIC picture or a film",
            "save it as",
        ),
        (
            "notes.jpg",
            b"1.62 mm".to_vec(),
            "got a file of another kind",
            "save it as",
        ),
        (
            "cut.png",
            whole.clone(),
            "got a JPEG picture named \"png\", want the ending jpg or jpeg",
            "give the file the ending",
        ),
        (
            "cut",
            whole.clone(),
            "got a JPEG picture named \"\"",
            "give the file the ending",
        ),
        (
            "half.jpg",
            whole[..whole.len() / 2].to_vec(),
            "its end is missing after",
            "copy it again",
        ),
        (
            "half.png",
            cut_png[..cut_png.len() - 5].to_vec(),
            "its end is missing after",
            "copy it again",
        ),
        (
            "zip.jpg",
            [&whole, zip].concat(),
            "the JPEG picture has 25 bytes after its end, want none",
            "open it and save it again",
        ),
        (
            "html.png",
            [&png(3, (64, 64))[..], b"<script>alert(1)</script>"].concat(),
            "the PNG picture has 25 bytes after its end",
            "open it and save it again",
        ),
        (
            "huge.jpg",
            huge,
            "got more than 20971520 bytes, want a picture of at most 20 MiB",
            "save a smaller one",
        ),
        (
            "bomb.png",
            bomb((10_000, 10_000)),
            "got 10000 × 10000 pixels, want at most 50 million",
            "save a smaller one",
        ),
        (
            "flipped.png",
            flipped,
            "the PNG picture cannot be decoded",
            "copy it again",
        ),
        (
            "hollow.jpg",
            garbage,
            "the JPEG picture cannot be decoded",
            "copy it again",
        ),
    ];
    for (name, bytes, want, help) in cases {
        let (code, out, err) = picture(&shop, name, &bytes, &[]);
        assert_eq!((code, out.as_str()), (2, ""), "{name}: {err}");
        assert!(err.contains(want), "{name}: {err}");
        assert!(err.contains(&format!("help: {help}")), "{name}: {err}");
    }
    // What is no regular file is not even waited for.
    let folder = shop.path("folder.jpg");
    fs::create_dir(&folder).unwrap();
    let fifo = shop.path("fifo.jpg");
    rustix::fs::mkfifoat(
        rustix::fs::CWD,
        &fifo,
        rustix::fs::Mode::from_raw_mode(0o600),
    )
    .unwrap();
    for path in [&folder, &fifo, Path::new("/dev/zero")] {
        let (code, _, err) = given(&shop, path, &[]);
        assert_eq!(code, 2, "{err}");
        assert!(
            err.contains("is not a regular file, want a picture"),
            "{err}"
        );
    }
    let nowhere = shop.path("nowhere.jpg");
    symlink(shop.path("gone.jpg"), &nowhere).unwrap();
    let (code, _, err) = given(&shop, &nowhere, &[]);
    assert_eq!(code, 4, "{err}");
    assert_eq!(pictured(&shop), Vec::<Value>::new());
    assert_eq!(names(&stored(&shop)), Vec::<String>::new());

    // The daemon measures on, and a whole one behind all of these is taken. Its name cannot steer a terminal.
    let (code, out, err) = picture(&shop, "c\u{1b}[2J\nut.jpg", &whole, &[]);
    assert_eq!((code, err.as_str()), (0, ""));
    assert!(out.starts_with("c_[2J_ut.jpg entered"), "{out}");
    assert_eq!(pictured(&shop)[0]["file_name"], "c_[2J_ut.jpg");
    let mut feed = daemon.connected_feed();
    shop.press(163);
    feed.wait_for("reading");
}

#[test]
fn further_whole_pictures_of_a_camera_behind_the_first_belong_to_it() {
    let mut shop = Shop::new();
    let (_daemon, _) = measured(&mut shop);
    let both = [jpeg(1, (400, 300)), jpeg(2, (200, 150))].concat();
    assert_eq!(picture(&shop, "both.jpg", &both, &[]).0, 0);
    assert_eq!(pictured(&shop)[0]["width_px"], 400);
}

#[test]
fn verify_finds_every_picture_that_is_not_what_was_entered() {
    let mut shop = Shop::new();
    let (daemon, _) = measured(&mut shop);
    for number in 1..=3 {
        let bytes = jpeg(number, (320, 240));
        assert_eq!(picture(&shop, &format!("{number}.jpg"), &bytes, &[]).0, 0);
    }
    drop(daemon);
    let entered = pictured(&shop);
    let file = |at: usize| {
        let name = entered[at]["picture"].as_str().unwrap();
        stored(&shop).join(format!("{name}.jpg"))
    };
    let seq = |at: usize| entered[at]["seq"].as_u64().unwrap();
    let whole: Vec<Vec<u8>> = (0..3).map(|at| fs::read(file(at)).unwrap()).collect();
    assert_eq!(verified(&shop).0, 0);

    // One bit.
    let mut changed = whole[0].clone();
    let middle = changed.len() / 2;
    changed[middle] ^= 1;
    fs::write(file(0), &changed).unwrap();
    let (code, out) = verified(&shop);
    assert_eq!(code, 1);
    let name = file(0).file_name().unwrap().to_str().unwrap().to_owned();
    assert!(
        out.starts_with(&format!(
            "pictures/{name}: entry {}: a picture was changed\n",
            seq(0)
        )),
        "{out}"
    );
    assert!(out.contains("1 finding"), "{out}");
    // Two exchanged, one gone, a small copy gone.
    fs::write(file(0), &whole[1]).unwrap();
    fs::write(file(1), &whole[0]).unwrap();
    fs::remove_file(file(2)).unwrap();
    let shown = entered[2]["shown"].as_str().unwrap();
    fs::remove_file(stored(&shop).join(format!("small/{shown}.jpg"))).unwrap();
    let (code, out) = verified(&shop);
    assert_eq!(code, 1);
    for (at, what) in [
        (
            0,
            format!("a picture was exchanged: it is that of entry {}", seq(1)),
        ),
        (
            1,
            format!("a picture was exchanged: it is that of entry {}", seq(0)),
        ),
        (2, "a picture is missing".to_owned()),
    ] {
        assert!(out.contains(&format!("entry {}: {what}", seq(at))), "{out}");
    }
    assert!(
        out.contains(&format!("pictures/small/{shown}.jpg: entry {}", seq(2))),
        "{out}"
    );
    assert!(out.contains("4 findings"), "{out}");
    let (_, out, _) = said(&shop.run(&["verify", "--json"]));
    let found: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(found["intact"], false);
    assert_eq!(found["pictures"], 3);
    assert_eq!(found["findings"].as_array().unwrap().len(), 4);

    // Put back; and a file that no entry names is mentioned and harmless.
    for (at, bytes) in whole.iter().enumerate() {
        fs::write(file(at), bytes).unwrap();
    }
    fs::write(stored(&shop).join("left.jpg"), b"x").unwrap();
    let daemon = shop.start();
    let third = put(&shop, "3.jpg", &whole[2]);
    assert_eq!(
        given(
            &shop,
            &third,
            &["--series", &entered[2]["series"].to_string()]
        )
        .0,
        0
    );
    drop(daemon);
    let (code, out) = verified(&shop);
    assert_eq!(code, 0, "{out}");
    assert!(
        out.contains("files that no entry names: pictures/left.jpg;"),
        "{out}"
    );
}

#[test]
fn the_bytes_follow_the_request_on_the_control_socket_and_short_ones_enter_nothing() {
    let mut shop = Shop::new();
    let (daemon, series) = measured(&mut shop);
    let bytes = jpeg(1, (320, 240));
    let request = |size: usize| {
        json!({"jsonrpc": "2.0", "id": 1, "method": "picture", "params": {"name": "a.jpg", "size": size}}).to_string()
    };
    let mut control = daemon.control();
    for _ in 0..2 {
        control.send(&request(bytes.len()));
        control.send_bytes(&bytes);
        let answer = control.next();
        assert_eq!(answer["result"]["series"], series, "{answer}");
        assert_eq!(answer["result"]["piece"], 2);
    }
    control.send(&request(20 * 1024 * 1024 + 1));
    let answer = control.next();
    assert_eq!(answer["error"]["code"], -32_000, "{answer}");
    control.send(
        &json!({"jsonrpc": "2.0", "id": 2, "method": "note", "params": {"text": "on"}}).to_string(),
    );
    assert!(control.next()["result"].is_object());
    control.send(&request(bytes.len()));
    control.send_bytes(&bytes[1..]);
    drop(control);
    daemon.call("note", &json!({"text": "still there"}));
    assert_eq!(pictured(&shop).len(), 2);
}

/// Kills the daemon in the midst of fifty pictures, several times: each is whole and entered, or not there.
#[test]
fn a_kill_while_pictures_come_in_leaves_each_whole_and_entered_or_not_entered() {
    let mut shop = Shop::new();
    let (daemon, series) = measured(&mut shop);
    let series = series.to_string();
    let files: Vec<PathBuf> = (0..50)
        .map(|number| put(&shop, &format!("{number}.jpg"), &jpeg(number, (160, 120))))
        .collect();
    let mut daemon = Some(daemon);
    for round in [3, 11, 20] {
        let running = daemon.take().unwrap();
        let mut feed = running.connected_feed();
        let mut giving = shop.tallyjaw(&["picture", "--series", &series]);
        let giving = giving.args(&files).stdout(std::process::Stdio::piped());
        let giving = giving.stderr(std::process::Stdio::null()).spawn().unwrap();
        // So many are entered, and the next one is on its way.
        for _ in 0..round {
            feed.wait_for("pictured");
        }
        running.kill();
        let (code, said, _) = said(&giving.wait_with_output().unwrap());
        assert_eq!(code, 3, "{said}");
        daemon = Some(shop.start());
        let entered = pictured(&shop);
        for line in said.lines() {
            let (_, seq) = line.split_once("(entry ").unwrap();
            let seq: u64 = seq.trim_end_matches(')').parse().unwrap();
            assert!(entered.iter().any(|entry| entry["seq"] == seq), "{line}");
        }
        let (code, out) = verified(&shop);
        assert_eq!(code, 0, "{out}");
    }
}

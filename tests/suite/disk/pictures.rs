//! A disk that becomes full while pictures come in: a real small file system.

use super::start_by;
use crate::harness::{Daemon, PATIENCE, Shop};
use crate::pictures::draw::jpeg;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;

/// A shop whose state is on a small file system of memory, and whose station has a folder of pictures; `None` where this
/// user may not mount.
fn started(shop: &Shop) -> Option<(Daemon, PathBuf)> {
    for folder in ["state", "camera"] {
        fs::create_dir(shop.path(folder)).unwrap();
    }
    let text = shop.configuration().replace(
        "name = \"bench-1\"\n",
        "name = \"bench-1\"\npictures = \"camera\"\n",
    );
    shop.write("tallyjaw.toml", &text);
    let mount = "mount -t tmpfs -o size=2m,mode=700 tmpfs state";
    let may_mount = Command::new("unshare")
        .args(["-m", "sh", "-c", mount])
        .current_dir(shop.dir.path())
        .output();
    if !may_mount.is_ok_and(|output| output.status.success()) {
        eprintln!("skipped: this user may not mount a file system of memory");
        return None;
    }
    let shell = format!("exec unshare -m sh -c '{mount} && exec \"$@\"' sh \"$@\"");
    let daemon = start_by(shop, &shell);
    let inside = PathBuf::from(format!("/proc/{}/root", daemon.child.id()))
        .join(shop.path("state").strip_prefix("/").unwrap());
    Some((daemon, inside))
}

fn files(folder: &Path) -> BTreeSet<String> {
    let items = fs::read_dir(folder).unwrap();
    let names = items.map(|item| item.unwrap().file_name().into_string().unwrap());
    names.collect()
}

/// The files of pictures are those of the entries, and no other.
fn assert_nothing_half(state: &Path) -> usize {
    let text = fs::read_to_string(state.join("journal/00000001.jsonl")).unwrap();
    let entries = text
        .lines()
        .filter_map(|line| serde_json::from_str::<Value>(line).ok());
    let entered: Vec<Value> = entries
        .filter(|entry| entry["kind"] == "pictured")
        .collect();
    let named = |field: &str| -> BTreeSet<String> {
        let digests = entered.iter().map(|entry| entry[field].as_str().unwrap());
        digests.map(|digest| format!("{digest}.jpg")).collect()
    };
    let mut pictures = named("picture");
    pictures.insert("small".to_owned());
    assert_eq!(files(&state.join("pictures")), pictures);
    assert_eq!(files(&state.join("pictures/small")), named("shown"));
    entered.len()
}

/// Waits until `status` says something of the folder, or no more.
fn folder_trouble(daemon: &Daemon, wanted: bool) -> Value {
    let deadline = Instant::now() + PATIENCE;
    loop {
        let status = daemon.call("status", &json!({}));
        if status["folders"].is_array() == wanted {
            return status["folders"][0].clone();
        }
        assert!(Instant::now() < deadline, "{status}");
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
}

#[test]
fn when_pictures_fill_the_disk_none_is_half_entered_measuring_goes_on_and_the_folder_waits() {
    let mut shop = Shop::new();
    let Some((daemon, state)) = started(&shop) else {
        return;
    };
    let mut feed = daemon.connected_feed();
    daemon.call("arm", &json!({"plan": "no-zero"}));
    shop.press(161);
    feed.wait_for("reading");
    // Room that pictures do not get: the journal needs little.
    let reserve = state.join("reserve");
    fs::write(&reserve, vec![0; 128 * 1024]).unwrap();
    let mut given = 0;
    let said = loop {
        let name = format!("{given}.jpg");
        fs::write(shop.path(&name), jpeg(given, (800, 600))).unwrap();
        let output = shop.run(&["picture", shop.path(&name).to_str().unwrap()]);
        if !output.status.success() {
            break String::from_utf8(output.stderr).unwrap();
        }
        given += 1;
        assert!(given < 100, "the disk does not become full");
    };
    assert!(
        said.contains(&format!(
            "{given}.jpg was not stored, and nothing was entered"
        )) && said.contains("No space left on device")
            && said.contains("help: make room on the disk of the state folder"),
        "{said}"
    );
    assert_eq!(assert_nothing_half(&state), usize::try_from(given).unwrap());

    // The folder says so, and keeps its pictures until there is room.
    let late: Vec<u32> = (50..53).collect();
    for number in &late {
        let path = shop.path(&format!("camera/{number}.jpg"));
        fs::write(path, jpeg(*number, (800, 600))).unwrap();
    }
    let trouble = folder_trouble(&daemon, true);
    let message = trouble["message"].as_str().unwrap();
    assert!(message.contains("was not stored"), "{message}");
    crate::texts::assert_has("daemon.picture.not_stored", message);
    fs::remove_file(&reserve).unwrap();
    fs::write(&reserve, vec![0; 64 * 1024]).unwrap();
    shop.press(162);
    assert_eq!(feed.wait_for("reading")["piece"], 2, "measuring goes on");
    assert_eq!(daemon.call("status", &json!({}))["journal_health"], "ok");

    // Nothing at all can be written any more.
    let ballast = state.join("ballast");
    let _ = fs::write(&ballast, vec![0; 4 << 20]);
    let mut control = daemon.control();
    while !control.call("note", &json!({"text": "x".repeat(2_000)}))["result"].is_null() {}
    feed.wait_for("journal_full");
    let path = shop.path(&format!("{given}.jpg"));
    let output = shop.run(&["picture", path.to_str().unwrap()]);
    assert!(!output.status.success());
    fs::remove_file(&ballast).unwrap();
    fs::remove_file(&reserve).unwrap();
    feed.wait_for("journal_resumed");
    // Only what is there anyway makes room: the small file system has none for three more.
    let grown = Command::new("nsenter")
        .args(["-m", "-t", &daemon.child.id().to_string()])
        .args(["mount", "-o", "remount,size=8m"])
        .arg(shop.path("state"))
        .output()
        .unwrap();
    assert!(grown.status.success(), "{grown:?}");
    for _ in &late {
        assert_eq!(feed.wait_for("pictured")["by"], "folder");
    }
    folder_trouble(&daemon, false);
    assert_eq!(
        assert_nothing_half(&state),
        usize::try_from(given).unwrap() + late.len()
    );
    assert!(daemon.stop().0.success(), "{}", shop.messages());
}

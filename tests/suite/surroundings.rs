//! What `check` says about the programs and files on which the configuration relies, and about a configuration that
//! is not used.

use std::fs;
use std::os::unix::fs::{PermissionsExt, chown};
use std::path::Path;
use std::process::{Command, Output};
use tempfile::TempDir;

const START: [(&str, &str); 3] = [
    (
        "tallyjaw.toml",
        include_str!("../../config/start/tallyjaw.toml"),
    ),
    (
        "sheets.toml",
        include_str!("../../config/start/sheets.toml"),
    ),
    ("plans.toml", include_str!("../../config/start/plans.toml")),
];

/// The configuration to start from, with `daemon` behind `[daemon]` and `end` at the end of the main file.
fn shop(daemon: &str, end: &str) -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in START {
        let text = match name {
            "tallyjaw.toml" => {
                text.replacen("[daemon]\n", &format!("[daemon]\n{daemon}\n"), 1) + "\n" + end
            }
            _ => text.to_owned(),
        };
        fs::write(folder.path().join(name), text).unwrap();
    }
    folder
}

fn run(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(crate::harness::program())
        .args(arguments)
        .current_dir(folder)
        .env_remove("TALLYJAW_CONFIG")
        .env("NO_COLOR", "1")
        .output()
        .unwrap()
}

fn checked(folder: &Path) -> String {
    let output = run(folder, &["--config", "tallyjaw.toml", "check"]);
    let said = String::from_utf8(output.stdout).unwrap();
    assert_eq!(output.status.code(), Some(0), "{said}");
    said
}

fn mode(path: &Path, mode: u32) {
    fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
}

const SINK: &str =
    "[[sink]]\nname = \"shop\"\nkind = \"mqtt\"\nuser = \"bench\"\npassword_file = \"secret\"\n";

#[test]
fn a_shop_without_an_instrument_is_told_that_nothing_can_be_measured() {
    let said = checked(shop("", "").path());
    assert!(said.contains("there is no instrument"), "{said}");
    assert!(said.contains("tallyjaw listen"), "{said}");
}

#[test]
fn a_program_to_announce_by_that_is_not_there_is_told() {
    let said = checked(shop("announce = [\"no-such-program-here\", \"{verdict}\"]", "").path());
    assert!(
        said.contains("no program no-such-program-here can be run"),
        "{said}"
    );
    let said = checked(shop("announce = [\"sh\", \"{verdict}\"]", "").path());
    assert!(!said.contains("can be run"), "{said}");
}

#[test]
fn a_password_that_others_can_read_or_hear_is_told() {
    let plain = shop("", &format!("{SINK}broker = \"mqtt://broker.example\"\n"));
    let secret = plain.path().join("secret");
    let said = checked(plain.path());
    assert!(
        said.contains("the password goes over a line that is not encrypted"),
        "{said}"
    );
    assert!(
        said.contains("the password file") && said.contains("cannot be read"),
        "{said}"
    );
    fs::write(&secret, "s").unwrap();
    mode(&secret, 0o644);
    let said = checked(plain.path());
    assert!(
        said.contains("every user of this machine can read the password file"),
        "{said}"
    );
    mode(&secret, 0o640);
    let said = checked(plain.path());
    assert!(!said.contains("password file"), "{said}");
    for broker in [
        "mqtts://broker.example",
        "mqtt://localhost",
        "mqtt://127.0.0.1:1884",
    ] {
        let shop = shop("", &format!("{SINK}broker = \"{broker}\"\n"));
        let said = checked(shop.path());
        assert!(!said.contains("not encrypted"), "{broker}: {said}");
    }
}

#[test]
fn a_pull_force_is_a_minimum_and_nothing_else() {
    for (limits, good) in [
        (">= 180 N", true),
        ("<= 180 N", false),
        ("180..250 N", false),
        ("200 ±20 N", false),
    ] {
        let shop = shop("", "");
        let sheet = format!(
            "[[terminal]]\nid = \"PF\"\nsource = \"none\"\n[[terminal.row]]\nwire = \"2.0 mm²\"\npull_force = \"{limits}\"\n"
        );
        let path = shop.path().join("sheets.toml");
        let text = fs::read_to_string(&path).unwrap();
        fs::write(&path, text + "\n" + &sheet).unwrap();
        let output = run(shop.path(), &["--config", "tallyjaw.toml", "check"]);
        let said = String::from_utf8(output.stdout).unwrap();
        assert_eq!(
            output.status.code(),
            Some(i32::from(!good)),
            "{limits}: {said}"
        );
        assert_eq!(
            said.contains("want a minimum alone"),
            !good,
            "{limits}: {said}"
        );
    }
}

#[test]
fn a_main_file_that_is_no_text_is_a_mistake_with_its_line() {
    let shop = shop("", "");
    fs::write(
        shop.path().join("tallyjaw.toml"),
        b"[daemon]\n# M\xfcller\n",
    )
    .unwrap();
    let output = run(shop.path(), &["--config", "tallyjaw.toml", "check"]);
    let said = String::from_utf8(output.stdout).unwrap();
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(said.contains("not UTF-8 at line 2"), "{said}");
    assert!(said.contains("save it as plain text in UTF-8"), "{said}");
    let output = run(shop.path(), &["--config", "tallyjaw.toml", "plans"]);
    assert_eq!(output.status.code(), Some(2));
}

#[test]
fn a_configuration_of_another_user_is_used_by_root_or_to_start_a_program_only_where_it_is_named() {
    let own = fs::metadata(tempfile::tempdir().unwrap().path()).unwrap();
    let is_root = std::os::unix::fs::MetadataExt::uid(&own) == 0;
    let shop = shop("announce = [\"sh\", \"{verdict}\"]", "");
    let main = shop.path().join("tallyjaw.toml");
    let code = |arguments: &[&str]| {
        let output = run(shop.path(), arguments);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        (output.status.code(), said)
    };
    mode(&main, 0o644);
    assert_eq!(code(&["plans"]).0, Some(0));
    mode(&main, 0o646);
    let (refused, said) = code(&["plans"]);
    assert_eq!(refused, Some(2), "{said}");
    assert!(said.contains("can be written by every user"), "{said}");
    assert!(said.contains("--config FILE"), "{said}");
    assert_eq!(code(&["--config", "tallyjaw.toml", "plans"]).0, Some(0));
    mode(&main, 0o644);
    if is_root {
        chown(&main, Some(12_345), None).unwrap();
        for arguments in [&["plans"][..], &["check"], &["serve"]] {
            let (refused, said) = code(arguments);
            assert_eq!(refused, Some(2), "{arguments:?}: {said}");
            assert!(
                said.contains("belongs to another user (uid 12345"),
                "{said}"
            );
        }
        assert_eq!(code(&["--config", "tallyjaw.toml", "plans"]).0, Some(0));
    }
}

//! What a report says about its own signature: a reader who follows it finds what it says.

use super::pages;
use crate::harness::Shop;
use crate::seals::{keep, key, measure};
use std::fs;
use std::process::{Command, Output};

/// The series of a shop with a key, as a report under this name.
pub(super) fn of_a_sealed_shop(arguments: &[&str], name: &str) -> Shop {
    let mut shop = Shop::new();
    assert_eq!(key(&shop, "make").status.code(), Some(0));
    keep(&shop, "KEPT.allowed");
    let daemon = shop.start();
    measure(&mut shop, &daemon);
    daemon.stop();
    let file = shop.path(name);
    let arguments = [&["report", "--out", file.to_str().unwrap()], arguments].concat();
    let output = shop.run(&arguments);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    shop
}

/// The command that stands in the page, with the name of the file, as a reader types it.
fn by_hand(shop: &Shop, name: &str) -> Output {
    let page = fs::read_to_string(shop.path(name)).unwrap();
    let (_, behind) = page.split_once("<code>ssh-keygen ").expect("the command");
    let (command, _) = behind.split_once("</code>").unwrap();
    let command = command.replace("&lt;", "<").replace("FILE", name);
    Command::new("sh")
        .arg("-c")
        .arg(format!("ssh-keygen {command}"))
        .current_dir(shop.path(""))
        .output()
        .unwrap()
}

#[test]
fn the_command_in_a_report_checks_its_signature_and_the_fingerprint_is_that_of_the_key() {
    let name = "first-off.html";
    let shop = of_a_sealed_shop(&[], name);
    let page = fs::read_to_string(shop.path(name)).unwrap();
    fs::write(pages().join("signed.html"), &page).unwrap();
    let listed = Command::new("ssh-keygen")
        .args(["-l", "-f"])
        .arg(shop.path("state/signing.key"))
        .output()
        .unwrap();
    let listed = String::from_utf8(listed.stdout).unwrap();
    let fingerprint = listed.split(' ').nth(1).unwrap();
    assert!(page.contains(&format!("<code>{fingerprint}</code>")));
    let good = by_hand(&shop, name);
    assert!(good.status.success(), "{good:?}");
    assert!(
        String::from_utf8(good.stdout)
            .unwrap()
            .contains(fingerprint)
    );
    let verified = shop.run(&["verify", shop.path(name).to_str().unwrap()]);
    assert_eq!(verified.status.code(), Some(0), "{verified:?}");
    let forged = page.replacen(">ACCEPTED<", ">REJECTED<", 1);
    assert_ne!(forged, page);
    fs::write(shop.path(name), forged).unwrap();
    assert!(!by_hand(&shop, name).status.success());
}

#[test]
fn a_checkable_report_holds_the_seal_behind_its_series_and_is_verified_as_any_other() {
    let name = "checkable.html";
    let shop = of_a_sealed_shop(&["--checkable"], name);
    let page = fs::read_to_string(shop.path(name)).unwrap();
    let folder = pages().join("checkable");
    fs::create_dir_all(&folder).unwrap();
    fs::write(folder.join("sealed.html"), &page).unwrap();
    assert!(page.contains("\"kind\":\"sealed\""), "the seal");
    assert!(by_hand(&shop, name).status.success(), "its signature");
    let verify = || {
        let output = shop.run(&["verify", shop.path(name).to_str().unwrap()]);
        let said = String::from_utf8(output.stdout).unwrap();
        (output.status.code().unwrap(), said)
    };
    let (code, said) = verify();
    assert_eq!(code, 0, "{said}");
    let changes = [
        (
            "\"kind\":\"completed\"",
            "\"kind\":\"Completed\"",
            "its line",
        ),
        ("function check(html)", "function check(text)", "the script"),
        (
            "about nothing but the series above",
            "about the series above",
            "the journal's lines",
        ),
        ("\"checkable\":true,", "", ""),
    ];
    for (from, to, about) in changes {
        let forged = page.replacen(from, to, 1);
        assert_ne!(forged, page, "{from}");
        fs::write(shop.path(name), forged).unwrap();
        let (code, said) = verify();
        assert_eq!(code, 1, "{said}");
        assert!(said.contains(about), "{said}");
    }
}

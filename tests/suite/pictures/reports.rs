//! Reports with pictures, by the commands and from the page.

use super::draw::jpeg;
use super::{measured, picture, pictured, said, stored};
use crate::harness::Shop;
use std::fs;

#[test]
fn a_report_shows_the_pictures_and_verify_finds_an_exchanged_one() {
    let mut shop = Shop::new();
    let (_daemon, series) = measured(&mut shop);
    for number in 1..=2 {
        let piece = number.to_string();
        let bytes = jpeg(number, (640, 480));
        let taken = picture(
            &shop,
            &format!("cut-{number}.jpg"),
            &bytes,
            &["--piece", &piece],
        );
        assert_eq!(taken.0, 0, "{taken:?}");
    }
    let entered = pictured(&shop);
    let number = series.to_string();
    let make = |name: &str| {
        let file = shop.path(name).display().to_string();
        let made = said(&shop.run(&["report", &number, "--out", &file]));
        assert_eq!(made.0, 0, "{made:?}");
        (file, made.2)
    };
    let (file, warned) = make("whole.html");
    assert_eq!(warned, "");
    let page = fs::read_to_string(&file).unwrap();
    for entry in &entered {
        let digest = entry["picture"].as_str().unwrap();
        assert!(page.contains(&format!("SHA-256 <code>{}…</code>", &digest[..12])));
    }
    assert_eq!(page.matches("<img class=\"copy\"").count(), 2);
    let (code, out, _) = said(&shop.run(&["verify", &file]));
    assert!(
        code == 0 && out.contains("in every word and picture"),
        "{out}"
    );

    // The two pictures exchanged in the file.
    let url = |nth: usize| {
        let behind = page
            .split("src=\"data:image/jpeg;base64,")
            .nth(nth)
            .unwrap();
        behind.split('"').next().unwrap()
    };
    let forged = page
        .replacen(url(1), "PLACE", 1)
        .replacen(url(2), url(1), 1)
        .replacen("PLACE", url(2), 1);
    fs::write(&file, forged).unwrap();
    let (code, out, _) = said(&shop.run(&["verify", &file]));
    assert_eq!(code, 1);
    let (first, second) = (&entered[0]["seq"], &entered[1]["seq"]);
    assert!(
        out.contains("differs from the journal in 2 places"),
        "{out}"
    );
    assert!(
        out.contains(&format!(
            "series {series}, picture of piece 1 (entry {first})"
        )) && out.contains(&format!("reported  the picture of entry {second} (SHA-256")),
        "{out}"
    );

    // A small copy is gone: the command warns, the report says it, `verify` does not vouch for it.
    let shown = entered[1]["shown"].as_str().unwrap();
    fs::remove_file(stored(&shop).join(format!("small/{shown}.jpg"))).unwrap();
    let (file, warned) = make("missing.html");
    assert!(
        warned.starts_with(&format!(
            "warning: the picture of entry {second} is missing: "
        )) && warned.contains("help: "),
        "{warned}"
    );
    let page = fs::read_to_string(&file).unwrap();
    assert!(page.contains("The picture is missing at the time of the report."));
    let (code, out, _) = said(&shop.run(&["verify", &file]));
    assert!(
        code == 0 && out.contains(&format!("that pictures were missing (of entries {second})")),
        "{out}"
    );
}

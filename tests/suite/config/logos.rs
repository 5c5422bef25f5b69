//! Logos: what is kept of a file, what is refused, and what a person is told.

use super::Texts;
use proptest::prelude::*;
use std::fs;
use tallyjaw::config::Diagnostic;
use tallyjaw::files::{self, LoadError};
use tallyjaw::letterhead::{LARGEST_LOGO, Logo};

const HEAD: &str = "<svg xmlns=\"http://www.w3.org/2000/svg\" xmlns:xlink=\"http://www.w3.org/1999/xlink\" \
    xmlns:draw=\"urn:drawing\" viewBox=\"0 0 40 20\">";

fn svg(within: &str) -> String {
    format!("{HEAD}{within}</svg>")
}

fn kept(file: &str) -> String {
    let logo = Logo::of_file(file.as_bytes()).unwrap();
    String::from_utf8(logo.bytes().to_vec()).unwrap()
}

#[test]
fn shapes_and_gradients_are_kept_and_a_drawing_programs_notes_are_not() {
    let file = svg(
        "<!-- made by hand --><title>A pump</title><draw:grid/><metadata><x/></metadata>\
        <defs><linearGradient id=\"a\"><stop offset=\"0\" stop-color=\"#123\"/></linearGradient>\
        <linearGradient id=\"b\" xlink:href=\"#a\" x2=\"40\"/></defs>\
        <g draw:label=\"Layer 1\" transform=\"translate(1,2)\" class=\"k\" data-x=\"1\">\
        <path style=\"fill:url('#b');stroke:none;font-size:3px\" d=\"M0 0h1&#10;z\"/></g>",
    );
    let want = "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 40 20\">\
        <defs><linearGradient id=\"a\"><stop offset=\"0\" stop-color=\"#123\"></stop></linearGradient>\
        <linearGradient id=\"b\" x2=\"40\" href=\"#a\"></linearGradient></defs>\
        <g transform=\"translate(1,2)\">\
        <path d=\"M0 0h1 z\" fill=\"url(#b)\" stroke=\"none\"></path></g></svg>\n";
    assert_eq!(kept(&file), want);
    assert_eq!(kept(want), want);
}

#[test]
fn a_logo_fits_into_a_box_of_either_shape() {
    let logo = Logo::of_file(svg("<path d=\"M0 0h1z\"/>").as_bytes()).unwrap(); // 40 × 20
    assert_eq!(logo.fitted((100, 100)), (100, 50));
    assert_eq!(logo.fitted((100, 10)), (20, 10));
    let in_pixels = "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"30px\" height=\"90.5\"/>";
    let tall = Logo::of_file(in_pixels.as_bytes()).unwrap();
    assert_eq!(tall.fitted((190, 181)), (60, 181));
}

/// Each file with a part of what is said of it.
#[test]
fn what_could_run_ask_or_look_otherwise_elsewhere_is_refused_and_named() {
    let bomb =
        "<!DOCTYPE svg [<!ENTITY a \"aaaa\"><!ENTITY b \"&a;&a;\">]>".to_owned() + &svg("&b;");
    let deep = svg(&("<g>".repeat(40) + &"</g>".repeat(40)));
    let crowd = svg(&"<g/>".repeat(25_000));
    let faulty = [
        (svg("<script>alert(1)</script>"), "<script>"),
        (
            svg("<path d=\"M0 0\" onload=\"alert(1)\"/>"),
            "script at onload",
        ),
        (
            svg("<foreignObject><p/></foreignObject>"),
            "<foreignObject>",
        ),
        (
            svg("<image href=\"https://example.com/a.png\"/>"),
            "<image>",
        ),
        (svg("<text>Pumps</text>"), "<text>"),
        (
            svg("<style>@import url(https://example.com/a.css)</style>"),
            "<style>",
        ),
        (svg("<use href=\"#a\"/>"), "<use>"),
        (
            svg("<a href=\"https://example.com\"><path d=\"\"/></a>"),
            "<a>",
        ),
        (svg("<animate attributeName=\"x\"/>"), "<animate>"),
        (
            svg("<path fill=\"url(https://example.com/a.svg#b)\"/>"),
            "fill=\"url(https",
        ),
        (
            svg("<path style=\"fill:url(//example.com/a)\"/>"),
            "fill=\"url(//",
        ),
        (svg("<path fill=\"url(#a) url(#b)\"/>"), "fill="),
        (svg("<path fill=\"\\75rl(x)\"/>"), "fill="),
        (svg("<path d=\"M0 0&quot;/&gt;&lt;script&gt;\"/>"), "d="),
        (svg("<linearGradient xlink:href=\"a.svg#b\"/>"), "href="),
        (
            svg("<linearGradient href=\"javascript:alert(1)\"/>"),
            "href=",
        ),
        (bomb, "cannot be read"),
        (deep, "32 deep"),
        (crowd, "cannot be read"),
        (
            "<svg xmlns=\"http://www.w3.org/2000/svg\"/>".to_owned(),
            "viewBox",
        ),
        (HEAD.replace("40 20", "40 0") + "</svg>", "viewBox"),
        (HEAD.replace("40 20", "1e9 20") + "</svg>", "viewBox"),
        ("<svg viewBox=\"0 0 1 1\"/>".to_owned(), "no SVG"),
        ("<html/>".to_owned(), "no SVG"),
        ("<svg".to_owned(), "cannot be read"),
        ("%PDF-1.7".to_owned(), "no picture"),
        (String::new(), "no picture"),
        (svg(&" ".repeat(LARGEST_LOGO)), "bytes, want at most"),
    ];
    for (file, want) in faulty {
        let bad = Logo::of_file(file.as_bytes()).expect_err(&file);
        let said = bad.to_string();
        assert!(said.contains(want), "{file:.120}: {said}, want {want}");
        assert!(!bad.remedy().is_empty());
    }
}

/// A grey picture of this size with a text beside it.
fn png(width: u32, height: u32) -> Vec<u8> {
    let mut file = Vec::new();
    let mut encoder = png::Encoder::new(&mut file, width, height);
    encoder.set_color(png::ColorType::Grayscale);
    encoder
        .add_text_chunk("Author".to_owned(), "somebody".to_owned())
        .unwrap();
    let mut writer = encoder.write_header().unwrap();
    let pixels = usize::try_from(width * height).unwrap();
    writer.write_image_data(&vec![127; pixels]).unwrap();
    writer.finish().unwrap();
    file
}

#[test]
fn of_a_png_only_what_draws_it_is_kept() {
    let mut file = png(60, 20);
    file.extend_from_slice(b"<script>alert(1)</script>");
    let logo = Logo::of_file(&file).unwrap();
    let has = |text: &[u8]| logo.bytes().windows(text.len()).any(|at| at == text);
    assert!(has(b"IHDR") && has(b"IEND"));
    assert!(!has(b"Author") && !has(b"somebody") && !has(b"script"));
    assert_eq!((logo.kind(), logo.fitted((30, 30))), ("PNG", (30, 10)));
    assert_eq!(Logo::of_data_url(&logo.data_url()), Some(logo));
}

#[test]
fn a_damaged_png_and_one_of_too_many_pixels_are_refused() {
    let whole = png(60, 20);
    for end in 8..whole.len() {
        assert!(
            Logo::of_file(&whole[..end]).is_err(),
            "the first {end} bytes"
        );
    }
    for at in [20, 30, whole.len() - 20] {
        let mut file = whole.clone();
        file[at] ^= 0x40;
        // a chunk that is not kept may be damaged
        if let Ok(logo) = Logo::of_file(&file) {
            assert_eq!(logo, Logo::of_file(&whole).unwrap(), "byte {at}");
        }
    }
    let said = Logo::of_file(&png(1_501, 1)).unwrap_err().to_string();
    assert_eq!(said, "1501 × 1 pixels, want at most 1500 a side");
}

/// What a page embeds is taken from it again only as it was put there.
#[test]
fn only_a_picture_of_ours_is_taken_from_an_address() {
    let logo = Logo::of_file(svg("<path d=\"M0 0\"/>").as_bytes()).unwrap();
    let url = logo.data_url();
    assert_eq!(Logo::of_data_url(&url), Some(logo));
    for other in [
        url.replace("svg+xml", "png"),
        url.replace("image/svg+xml", "text/html"),
        url.replace("data:", "https:"),
        format!("{url}AAAA"),
        "data:image/svg+xml;base64,PHN2Zy8+".to_owned(),
    ] {
        assert_eq!(Logo::of_data_url(&other), None, "{other}");
    }
}

/// Parts of files, in any order.
fn part() -> impl Strategy<Value = String> {
    let known = [
        "<g>",
        "</g>",
        "<path ",
        "/>",
        ">",
        "d=\"M0 0",
        "\"",
        "'",
        " fill=\"",
        "url(#",
        ")",
        "url(",
        " style=\"",
        ";",
        ":",
        "fill",
        "&quot;",
        "&#10;",
        "&lt;",
        " onload=\"",
        "<script>",
        "</script>",
        " href=\"#",
        " xlink:href=\"",
        "javascript:",
        "<![CDATA[",
        "]]>",
        "<!--",
        "-->",
        " id=\"",
        "<text>",
        "</text>",
    ];
    prop_oneof![
        8 => prop::sample::select(known.to_vec()).prop_map(str::to_owned),
        1 => "[ -~]{0,6}",
    ]
}

proptest! {
    /// The kept file has no character but those of shapes, and is kept again as it is.
    #[test]
    fn whatever_is_accepted_is_plain(parts in prop::collection::vec(part(), 0..24)) {
        let within: String = parts.concat();
        for file in [svg(&within), svg(&format!("<path {within}/>")), svg(&format!("<path d=\"{within}\"/>"))] {
            let Ok(logo) = Logo::of_file(file.as_bytes()) else { continue };
            let text = String::from_utf8(logo.bytes().to_vec()).unwrap();
            prop_assert!(!text.contains("script") || !text.contains("<script"));
            prop_assert!(!text.contains(" on") && !text.contains("<!") && !text.contains('&'), "{}", text);
            prop_assert!(!text.replace("url(#", "").contains("url("), "{}", text);
            prop_assert_eq!(Logo::of_data_url(&logo.data_url()), Some(logo));
        }
    }
}

fn faults_of(logo: &str, file: Option<&[u8]>) -> Vec<Diagnostic> {
    let folder = tempfile::tempdir().unwrap();
    let main = folder.path().join("tallyjaw.toml");
    let texts = Texts::good();
    fs::write(&main, format!("[shop]\nlogo = \"{logo}\"\n{}", texts.main)).unwrap();
    if let Some(bytes) = file {
        fs::write(folder.path().join(logo), bytes).unwrap();
    }
    match files::load(&main) {
        Ok(_) => Vec::new(),
        Err(LoadError::Faulty(faulty)) => faulty.diagnostics,
        Err(other) => panic!("{other}"),
    }
}

#[test]
fn check_says_what_is_wrong_with_a_logo_where_the_file_names_it() {
    assert_eq!(
        faults_of("logo.svg", Some(svg("<path d=\"\"/>").as_bytes())),
        []
    );
    let text = svg("<text>Pumps</text>");
    let [fault] = &faults_of("logo.svg", Some(text.as_bytes()))[..] else {
        panic!("want one fault");
    };
    assert!(
        fault.message.ends_with("logo.svg cannot be used"),
        "{fault:?}"
    );
    assert_eq!(
        fault.label,
        "the SVG has <text>, want shapes and gradients alone"
    );
    let help = "convert text to paths in the drawing program, and save it again";
    assert_eq!(fault.help.as_deref(), Some(help));
    assert_eq!(fault.line, 2);
    let [fault] = &faults_of("logo.svg", None)[..] else {
        panic!("want one fault");
    };
    assert!(
        fault.message.starts_with("cannot read the logo"),
        "{fault:?}"
    );
}

//! `tallyjaw label`: what stands on a label, its code as a printer would print it, read by a decoder that shares no code
//! with the encoder, and `verify --label` with what was read.

use crate::harness::{Daemon, Lines, Shop};
use serde_json::{Value, json};
use std::fs;
use std::process::Output;

fn said(output: &Output) -> (i32, String, String) {
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).unwrap();
    (
        output.status.code().unwrap(),
        text(&output.stdout),
        text(&output.stderr),
    )
}

/// A label as dots of a printer of 8 dots/mm: true is black. Only the code is drawn, as its file places it.
struct Print {
    width: usize,
    height: usize,
    black: Vec<bool>,
    /// Dots of a module.
    module: usize,
}

fn between<'t>(text: &'t str, from: &str, to: &str) -> &'t str {
    let (_, rest) = text.split_once(from).unwrap();
    rest.split_once(to).unwrap().0
}

impl Print {
    /// Of the inside of an `<svg …>…`, whose units are dots.
    fn new(svg: &str) -> Self {
        let number = |text: &str| text.parse::<usize>().unwrap();
        let (width, height) = between(svg, "viewBox=\"0 0 ", "\"")
            .split_once(' ')
            .unwrap();
        let (width, height) = (number(width), number(height));
        let (left, top) = between(svg, "translate(", ")").split_once(' ').unwrap();
        let (left, top) = (number(left), number(top));
        let module = number(between(svg, "scale(", ")"));
        let mut black = vec![false; width * height];
        for run in between(svg, " d=\"", "\"").split_terminator('z') {
            let (from, rest) = run.strip_prefix('M').unwrap().split_once('h').unwrap();
            let (x, y) = from.split_once(' ').unwrap();
            let (long, _) = rest.split_once("v1h-").unwrap();
            let (x, y, long) = (number(x), number(y), number(long));
            for row in (top + y * module)..(top + (y + 1) * module) {
                let from = row * width + left + x * module;
                black[from..from + long * module].fill(true);
            }
        }
        Self {
            width,
            height,
            black,
            module,
        }
    }

    /// One dot in a hundred turned over, as dust and a worn head leave them; `seed` chooses which.
    fn damaged(mut self, mut seed: u64) -> Self {
        for _ in 0..self.black.len() / 100 {
            // Knuth's constants of a linear congruential generator.
            seed = seed
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            let at = usize::try_from(seed >> 33).unwrap() % self.black.len();
            self.black[at] = !self.black[at];
        }
        self
    }

    /// The text of its code in a picture of `scale` pixels to a dot, out of focus by `blur` pixels to each side.
    fn seen(&self, scale: usize, blur: usize) -> Option<String> {
        let (width, height) = (self.width * scale, self.height * scale);
        // Sums of the black pixels above and left of each, so that those around a pixel are four of them.
        let mut above = vec![0_u32; (width + 1) * (height + 1)];
        for y in 0..height {
            let mut row = 0;
            for x in 0..width {
                row += u32::from(self.black[y / scale * self.width + x / scale]);
                above[(y + 1) * (width + 1) + x + 1] = above[y * (width + 1) + x + 1] + row;
            }
        }
        let near = |at: usize, end: usize| (at.saturating_sub(blur), (at + blur + 1).min(end));
        let grey = |x: usize, y: usize| {
            let ((left, right), (top, bottom)) = (near(x, width), near(y, height));
            let sum = |x: usize, y: usize| above[y * (width + 1) + x];
            let black = sum(right, bottom) + sum(left, top) - sum(left, bottom) - sum(right, top);
            let all = u32::try_from((right - left) * (bottom - top)).unwrap();
            u8::try_from(255 - 255 * black / all).unwrap()
        };
        let mut image = rqrr::PreparedImage::prepare_from_greyscale(width, height, grey);
        let grids = image.detect_grids();
        let mut bytes = Vec::new();
        grids.first()?.decode_to(&mut bytes).ok()?;
        String::from_utf8(bytes).ok()
    }

    /// The text of its code as a scanner reads it, which looks until it can: further off, nearer, out of focus.
    fn read(&self) -> Option<String> {
        let mut pictures = [(2, 1), (3, 2), (2, 0), (4, 2), (1, 0), (3, 0)].into_iter();
        pictures.find_map(|(scale, blur)| self.seen(scale, blur))
    }
}

/// What was read from each label of a file.
fn read(page: &str) -> Vec<String> {
    let labels = page.split("<svg").skip(1);
    let read = |svg: &str| {
        let svg = svg.split_once("</svg>").unwrap().0;
        let clean = Print::new(svg).read().unwrap();
        // A speck at the corner of a finder pattern misleads this decoder, so that not every worn print is read; none is
        // read wrongly.
        if Print::new(svg).module >= 3 {
            let worn = (0..4).map(|seed| Print::new(svg).damaged(seed).read());
            let worn: Vec<String> = worn.flatten().collect();
            assert!(
                !worn.is_empty() && worn.iter().all(|text| *text == clean),
                "{worn:?}"
            );
        }
        clean
    };
    labels.map(read).collect()
}

/// A series of one piece for the job that is set.
fn series(shop: &mut Shop, daemon: &Daemon, feed: &mut Lines, value: i64) -> String {
    daemon.call("arm", &json!({"plan": "one"}));
    let series = feed.wait_for("armed")["seq"].to_string();
    // Not the value of the zero before: the same bytes soon after are a bouncing key.
    shop.press(1);
    feed.wait_for("zeroed");
    shop.press(value);
    feed.wait_for("reading");
    shop.press(0);
    feed.wait_for("completed");
    series
}

fn shop() -> Shop {
    let shop = Shop::new();
    shop.write(
        "plans.toml",
        r#"
[[plan]]
id = "one"
terminal = "QF-250-F"
wire = "2.0 mm²"
axes = ["core_crimp_height"]
pieces = 1
purpose = "first_off"
decision = "simple"
zero = { before_first = true, closing = true }
"#,
    );
    let configuration = shop.configuration();
    shop.write(
        "tallyjaw.toml",
        &format!("{configuration}\n[shop]\nname = \"Pumps & <Hoses>\"\n"),
    );
    shop
}

/// The labels of a command: the text of each as reported, and the page.
fn labels(shop: &Shop, arguments: &[&str]) -> (Value, String) {
    let file = shop.path("label.html");
    let whole = [
        &["label", "--json", "-o", file.to_str().unwrap()],
        arguments,
    ]
    .concat();
    let (code, out, err) = said(&shop.run(&whole));
    assert_eq!((code, err.as_str()), (0, ""), "{arguments:?}");
    let told: Value = serde_json::from_str(&out).unwrap();
    let page = fs::read_to_string(&file).unwrap();
    let texts: Vec<&str> = told["labels"]
        .as_array()
        .unwrap()
        .iter()
        .map(|label| label["text"].as_str().unwrap())
        .collect();
    assert_eq!(
        read(&page),
        texts,
        "what a printed label says is what was reported"
    );
    let (_, schema, _) = said(&shop.run(&["schema", "label"]));
    let schema = jsonschema::draft202012::new(&serde_json::from_str(&schema).unwrap()).unwrap();
    assert!(
        texts.iter().all(|text| schema.is_valid(&json!(text))),
        "{texts:?}"
    );
    (told["labels"].clone(), page)
}

fn verified(shop: &Shop, text: &str) -> (i32, String) {
    let (code, out, err) = said(&shop.run(&["verify", "--label", text]));
    assert!(code == 2 || err.is_empty(), "{err}");
    (code, format!("{out}{err}"))
}

fn text(labels: &Value, at: usize) -> String {
    labels[at]["text"].as_str().unwrap().to_owned()
}

#[test]
fn a_label_is_read_from_paper_and_agrees_with_the_journal_until_more_comes_of_the_job() {
    let mut shop = shop();
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    let job = json!({"job": "47-a", "serial": "0007", "customer": "Möller & Sons", "item": "harness B, rev. 3"});
    daemon.call("job", &job);
    let good = series(&mut shop, &daemon, &mut feed, 162);
    let (of_job, page) = labels(&shop, &["--job", "47-a", "--size", "70x40"]);
    assert!(
        text(&of_job, 0).starts_with("TJ1 JOB 47-a ACCEPTED ENTRY "),
        "{of_job}"
    );
    for words in [
        "Pumps &amp; &lt;Hoses&gt;",
        ">Job 47-a<",
        ">ACCEPTED<",
        "QF-250-F on 2.0 mm²",
        "serial number 0007",
        "Möller &amp; Sons",
        "harness B, rev. 3",
    ] {
        assert!(page.contains(words), "{words} in {page}");
    }
    assert!(page.contains("@page{size:70mm 40mm;margin:0}"));
    assert!(
        !page.contains("inverse\""),
        "an accepted label is not black"
    );
    let (code, out) = verified(&shop, &text(&of_job, 0));
    assert_eq!(
        (
            code,
            out.starts_with("agrees: job 47-a is ACCEPTED, by entry ")
        ),
        (0, true),
        "{out}"
    );
    // A changed word, a changed number, a changed digit of the digest, half of it.
    let whole = text(&of_job, 0);
    let (head, digest) = whole.rsplit_once(' ').unwrap();
    let (first, rest) = digest.split_at(1);
    let other = if first == "0" { "1" } else { "0" };
    for (forged, code, says) in [
        (
            whole.replace("ACCEPTED", "REJECTED"),
            1,
            "up to that entry the journal gives: TJ1 JOB 47-a ACCEPTED",
        ),
        (
            whole.replace("ACCEPTED", "ACCEPTED WITH 1 RESERVATION"),
            1,
            "up to that entry",
        ),
        (
            whole.replace("47-a", "47-b"),
            1,
            "up to that entry the journal gives: no such series",
        ),
        (
            whole.replace("ENTRY ", "ENTRY 1"),
            1,
            "the digest is that of entry",
        ),
        (
            format!("{head} {other}{rest}"),
            1,
            "no line of this journal has the digest",
        ),
        (whole[..60].to_owned(), 2, "it does not end with ENTRY"),
        (
            "https://example.com".to_owned(),
            2,
            "it does not begin with TJ1",
        ),
    ] {
        let (got, out) = verified(&shop, &forged);
        assert!(got == code && out.contains(says), "{forged}: {got} {out}");
    }
    // The same job with a bad series: the old label is out of date, the new one is rejected.
    let bad = series(&mut shop, &daemon, &mut feed, 170);
    let (code, out) = verified(&shop, &whole);
    assert_eq!(code, 1);
    assert!(
        out.contains("it was right when it was made; now the journal gives: TJ1 JOB 47-a REJECTED"),
        "{out}"
    );
    let (both, page) = labels(&shop, &["--series", &good, "--series", &bad]);
    assert!(text(&both, 0).starts_with(&format!("TJ1 SERIES {good} ACCEPTED ENTRY ")));
    assert!(text(&both, 1).starts_with(&format!("TJ1 SERIES {bad} REJECTED ENTRY ")));
    assert!(page.contains("class=\"strong inverse\""), "white on black");
    for at in [0, 1] {
        assert_eq!(verified(&shop, &text(&both, at)).0, 0);
    }
    let (of_job, page) = labels(
        &shop,
        &["--job", "47-a", "--serial", "0007", "--size", "80x40"],
    );
    assert!(text(&of_job, 0).starts_with("TJ1 JOB 47-a/0007 REJECTED ENTRY "));
    assert!(
        page.contains(">2 series: 1 ACCEPTED, 1 REJECTED<"),
        "{page}"
    );
}

#[test]
fn what_is_open_or_stopped_early_never_looks_accepted() {
    let mut shop = shop();
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    daemon.call("job", &json!({"job": "9"}));
    let good = series(&mut shop, &daemon, &mut feed, 162);
    daemon.call("arm", &json!({"plan": "one"}));
    let open = feed.wait_for("armed")["seq"].to_string();
    for (of, says) in [
        (["--job", "9"], "TJ1 JOB 9 OPEN ENTRY "),
        (
            ["--series", &open],
            &format!("TJ1 SERIES {open} OPEN ENTRY {open} "),
        ),
    ] {
        let (label, page) = labels(&shop, &of);
        assert!(text(&label, 0).starts_with(says), "{label}");
        assert!(page.contains(">STILL OPEN<") && !page.contains(">ACCEPTED<"));
        assert!(page.contains("class=\"strong inverse\""));
        assert_eq!(verified(&shop, &text(&label, 0)).0, 0);
    }
    let (still_open, _) = labels(&shop, &["--series", &open]);
    shop.run(&["disarm"]);
    feed.wait_for("completed");
    let (label, page) = labels(&shop, &["--series", &open, "--language", "de"]);
    assert!(text(&label, 0).contains(" STOPPED EARLY ENTRY "), "{label}");
    assert!(page.contains(">ABGEBROCHEN<"));
    assert_eq!(verified(&shop, &text(&still_open, 0)).0, 1, "out of date");
    let (label, _) = labels(&shop, &["--series", &good]);
    assert!(text(&label, 0).contains(" ACCEPTED "));
    for nothing in [["--job", "10"], ["--series", "1"]] {
        let (code, _, err) = said(&shop.run(&[&["label"], &nothing[..]].concat()));
        assert_eq!(code, 2);
        assert!(err.contains("the journal has no series "), "{err}");
    }
}

#[test]
fn a_small_label_leaves_lines_out_in_their_order_and_a_smaller_one_is_refused_with_the_size_that_fits()
 {
    let mut shop = shop();
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    daemon.call(
        "job",
        &json!({"job": "9", "serial": "0007", "customer": "A", "item": "B"}),
    );
    series(&mut shop, &daemon, &mut feed, 162);
    let order = ["shop", "plan", "customer", "item", "date", "wire", "serial"];
    let mut before = 0;
    for size in ["70x40", "62x29", "50x25", "40x22", "40x18", "32x14"] {
        let (label, _) = labels(&shop, &["--job", "9", "--size", size]);
        let left_out: Vec<&str> = label[0]["left_out"]
            .as_array()
            .unwrap()
            .iter()
            .map(|name| name.as_str().unwrap())
            .collect();
        assert_eq!(left_out, order[..left_out.len()], "{size}");
        assert!(left_out.len() >= before, "{size}");
        before = left_out.len();
        let dots = label[0]["module_dots"].as_u64().unwrap();
        assert_eq!(label[0]["module_um"].as_u64().unwrap(), dots * 125);
        assert!(dots >= 2);
    }
    assert!(before > 3, "the smallest leaves most of them out");
    let (code, _, err) = said(&shop.run(&["label", "--job", "9", "--size", "20x10"]));
    assert_eq!(code, 2);
    assert!(err.contains("20x10 mm is too small for job 9"), "{err}");
    let fits = between(&err, "want at least --size ", "\n").to_owned();
    labels(&shop, &["--job", "9", "--size", &fits]);
    let (code, _, err) = said(&shop.run(&["label", "--job", "9", "--size", "20"]));
    assert_eq!(code, 2);
    assert!(err.contains("such as 62x29"), "{err}");
    // Another file is left alone; a pipe gets the label itself.
    shop.write("other.html", "mine");
    let (code, _, _) = said(&shop.run(&[
        "label",
        "--job",
        "9",
        "-o",
        shop.path("other.html").to_str().unwrap(),
    ]));
    assert_eq!(code, 2);
    let (code, out, _) = said(&shop.run(&["label", "--job", "9"]));
    assert_eq!((code, read(&out).len()), (0, 1));
}

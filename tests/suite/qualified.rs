//! Which combinations are shown: from the line of the caliper and the force gauge to the matrix.

use crate::harness::{Daemon, Lines, Shop};
use serde_json::{Value, json};
use tallyjaw::virtual_caliper::VirtualCaliper;

const SHEET: &str = r#"
[[terminal]]
id = "QF-250-F"

[[terminal.row]]
wire = "2.0 mm²"
core_crimp_height = "1.62 ±0.05 mm"
core_crimp_width = "2.40 ±0.10 mm"
pull_force = ">= 180 N"

[[terminal.row]]
wire = "1.0 mm²"
core_crimp_height = "1.40 ±0.05 mm"
"#;

const TOOLS: &str = r#"
[[tool]]
id = "T-07"
class = "production"
TOOL_CARE

[[tool.nest]]
id = "1.0"
wires = ["1.0 mm²"]

[[tool.nest]]
id = "2.0"
wires = ["2.0 mm²"]

[[tool]]
id = "T-08"
class = "production"
terminals = ["RB-090-M"]
"#;

const PLANS: &str = r#"
[[plan]]
id = "pump-qual"
terminal = "QF-250-F"
wire = "2.0 mm²"
tool = "T-07"
nest = "2.0"
axes = ["core_crimp_height", "core_crimp_width"]
order = "by_piece"
pieces = 25
purpose = "qualification"
decision = "simple"

[[plan]]
id = "pump-qual-24"
terminal = "QF-250-F"
wire = "2.0 mm²"
tool = "T-07"
nest = "2.0"
axes = ["core_crimp_height", "core_crimp_width"]
order = "by_piece"
pieces = 24
purpose = "qualification"
decision = "simple"

[[plan]]
id = "pull-qual"
terminal = "QF-250-F"
wire = "2.0 mm²"
tool = "T-07"
nest = "2.0"
axes = ["pull_force"]
pieces = 25
purpose = "qualification"
decision = "simple"

[[plan]]
id = "pump-first"
terminal = "QF-250-F"
wire = "2.0 mm²"
tool = "T-07"
nest = "2.0"
axes = ["core_crimp_height"]
pieces = 2
purpose = "first_off"
decision = "simple"
"#;

/// Hundredths of a millimetre, standard deviation 0.912871 of them: Ppk 1.825742, whose exact lower 95 % confidence bound
/// is 1.372461 (scipy's noncentral t: the C with P(T(24; 15 C) ≤ 15 Ppk) = 0.95).
const OVER: [i64; 25] = [
    162, 161, 162, 162, 163, 162, 161, 162, 162, 162, 163, 162, 161, 160, 162, 163, 163, 162, 162,
    161, 163, 164, 161, 163, 161,
];
/// Standard deviation 0.957427: Ppk 1.740777, lower bound 1.307243 by the same.
const UNDER: [i64; 25] = [
    163, 163, 161, 161, 162, 161, 162, 163, 162, 161, 162, 162, 163, 161, 161, 160, 162, 162, 163,
    161, 163, 162, 164, 162, 163,
];
/// Ppk 3.65 against ±0.10 mm.
const WIDTHS: [i64; 25] = [
    241, 241, 239, 239, 241, 240, 241, 240, 238, 239, 240, 240, 240, 239, 240, 242, 240, 240, 241,
    239, 240, 241, 239, 240, 240,
];

/// A bench with a caliper and a force gauge, and tools with this care.
fn shop(care: &str) -> Shop {
    let shop = Shop::with_stations(2);
    let configuration = shop.configuration();
    let configuration = configuration.replace("[[station]]\nname = \"bench-2\"\n", "");
    let (caliper, gauge) = configuration.split_at(configuration.rfind("[[instrument]]").unwrap());
    let gauge = gauge
        .replace("station = \"bench-2\"", "station = \"bench-1\"")
        .replace("kind = \"caliper\"", "kind = \"force\"")
        .replace("unit = \"mm\"", "unit = \"N\"")
        .replace("0.01 mm", "0.1 N")
        .replace("0.02 mm", "0.5 N")
        .replace("0..150 mm", "0..1000 N");
    let files = "plans = [\"plans.toml\"]\ntools = [\"tools.toml\"]\n";
    let caliper = caliper.replace("plans = [\"plans.toml\"]\n", files);
    shop.write("tallyjaw.toml", &format!("{caliper}{gauge}"));
    shop.write("sheet.toml", SHEET);
    shop.write("plans.toml", PLANS);
    shop.write("tools.toml", &TOOLS.replace("TOOL_CARE", care));
    shop
}

fn configure(shop: &Shop, more: &str) {
    let path = shop.path("tallyjaw.toml");
    let before = std::fs::read_to_string(&path).unwrap();
    let before = before.split("\n[qualification]").next().unwrap().to_owned();
    shop.write("tallyjaw.toml", &format!("{before}{more}"));
}

fn send(shop: &Shop, caliper: usize, value: &str) {
    let line = format!("{value}\r\n");
    shop.calipers[caliper].send(line.as_bytes()).unwrap();
}

/// Measures heights (hundredths of a millimetre) with the widths beside them; the `completed` entry.
fn measure(shop: &Shop, daemon: &Daemon, feed: &mut Lines, plan: &str, heights: &[i64]) -> Value {
    daemon.call("arm", &json!({"plan": plan}));
    feed.wait_for("armed");
    send(shop, 0, "0.01 mm"); // the last series ended with 0.00: the same at once is a bouncing key
    feed.wait_for("zeroed");
    for (height, width) in heights.iter().zip(WIDTHS) {
        for value in [*height, width] {
            send(shop, 0, &format!("{}.{:02} mm", value / 100, value % 100));
            let reading = feed.wait_for("reading");
            assert_eq!(reading["standing"], "counted", "{reading}");
        }
    }
    send(shop, 0, "0.00 mm");
    feed.wait_for("completed")
}

/// Twenty-five pulls from 190.0 N upwards.
fn pull(shop: &Shop, daemon: &Daemon, feed: &mut Lines) -> Value {
    daemon.call("arm", &json!({"plan": "pull-qual"}));
    feed.wait_for("armed");
    send(shop, 1, "0.1 N");
    feed.wait_for("zeroed");
    for nth in 0..25 {
        send(shop, 1, &format!("{}.5 N", 190 + nth));
        assert_eq!(feed.wait_for("reading")["standing"], "counted");
    }
    send(shop, 1, "0.0 N");
    feed.wait_for("completed")
}

/// The lines of `tallyjaw qualified --json` with these options: the rule, and the combinations.
fn listed(shop: &Shop, options: &[&str]) -> (Value, Vec<Value>) {
    let output = shop.run(&[&["--json", "qualified"], options].concat());
    let text = String::from_utf8(output.stdout).unwrap();
    let mut lines = text.lines().map(|line| serde_json::from_str(line).unwrap());
    let rule = lines.next().unwrap_or_else(|| {
        panic!("{}", String::from_utf8_lossy(&output.stderr));
    });
    (rule, lines.collect())
}

/// The combination of T-07, nest 2.0.
fn combination(shop: &Shop, options: &[&str]) -> Value {
    let (_, all) = listed(shop, options);
    let mut all = all.into_iter();
    all.find(|one| one["nest"] == "2.0").unwrap()
}

fn missing(one: &Value) -> Vec<&str> {
    let missing = one["missing"].as_array().into_iter().flatten();
    missing.map(|words| words.as_str().unwrap()).collect()
}

/// A shop with a combination that is shown: the numbers of its series of lengths and of pulls.
fn shown(care: &str) -> (Shop, Daemon, Lines, [Value; 2]) {
    let shop = shop(care);
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    let over = measure(&shop, &daemon, &mut feed, "pump-qual", &OVER);
    let pulled = pull(&shop, &daemon, &mut feed);
    let series = [over, pulled].map(|completed| completed["series"].clone());
    (shop, daemon, feed, series)
}

#[test]
fn a_combination_is_shown_once_every_axis_has_enough_pieces_and_the_index_and_the_pulls_are_there()
{
    let shop = shop("last_check = \"2020-01-01\"");
    let (rule, all) = listed(&shop, &[]);
    assert_eq!(
        rule,
        json!({"kind": "qualification_rule", "pieces": 25, "ppk": 1.33, "pull": true,
            "months": 12, "require": false, "configured": false})
    );
    // T-08 is for another terminal, and each nest is for one wire.
    let names: Vec<_> = all
        .iter()
        .map(|one| (&one["wire_mm2"], &one["nest"], &one["standing"]))
        .collect();
    assert_eq!(
        names,
        [
            (&json!(1.0), &json!("1.0"), &json!("never_tried")),
            (&json!(2.0), &json!("2.0"), &json!("never_tried"))
        ]
    );

    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    // One piece too few.
    let few = measure(&shop, &daemon, &mut feed, "pump-qual-24", &OVER[..24]);
    assert_eq!(few["outcome"], "accepted");
    let series = &few["series"];
    let one = combination(&shop, &[]);
    assert_eq!(one["standing"], "not_shown");
    assert_eq!(
        missing(&one),
        [
            format!("core crimp height: 24 of 25 pieces (series {series})"),
            format!("core crimp width: 24 of 25 pieces (series {series})"),
            "pull force: no qualification series".to_owned()
        ]
    );

    // The bound is just under what is required.
    let under = measure(&shop, &daemon, &mut feed, "pump-qual", &UNDER);
    let series = &under["series"];
    let one = combination(&shop, &[]);
    assert_eq!(
        missing(&one),
        [
            format!(
                "core crimp height: the lower 95 % confidence bound of Ppk is 1.307 instead of 1.33 (series {series})"
            ),
            "pull force: no qualification series".to_owned()
        ]
    );
    assert_eq!(
        (&one["ppk_least"], &one["worst_axis"], &one["pieces"]),
        (&json!(1.307), &json!("core_crimp_height"), &json!(25))
    );

    // Just over: only the pull test is missing, then nothing.
    let over = measure(&shop, &daemon, &mut feed, "pump-qual", &OVER);
    let one = combination(&shop, &[]);
    assert_eq!(missing(&one), ["pull force: no qualification series"]);
    let pulled = pull(&shop, &daemon, &mut feed);
    assert_eq!(pulled["outcome"], "accepted", "{pulled}");
    let one = combination(&shop, &["--gate"]);
    assert_eq!(one["standing"], "shown", "{one}");
    assert_eq!(one["ppk_least"], json!(1.372));
    let axes = one["shown_axes"].as_array().unwrap();
    let rests: Vec<_> = axes
        .iter()
        .map(|of| {
            (
                of["axis"].as_str().unwrap(),
                &of["series_id"],
                &of["lowest_mn"],
                &of["minimum_mn"],
            )
        })
        .collect();
    let (over, pulled) = (&over["series"], &pulled["series"]);
    assert_eq!(
        rests,
        [
            ("core_crimp_height", over, &Value::Null, &Value::Null),
            ("core_crimp_width", over, &Value::Null, &Value::Null),
            ("pull_force", pulled, &json!(190_500), &json!(180_000))
        ]
    );
    for option in [&["--gate", "--tool", "T-07"][..], &["--gate"]] {
        let gate = shop.run(&[&["qualified"], option].concat());
        assert_eq!(
            gate.status.code(),
            Some(1),
            "the other nest was never tried"
        );
    }
}

/// One bench has the caliper's part, another one the force gauge's: together the combination is shown.
#[test]
fn the_journals_of_several_benches_show_together_what_none_of_them_shows_alone() {
    let care = "last_check = \"2020-01-01\"";
    let (one, two) = (shop(care), shop(care));
    let daemon = one.start();
    let mut feed = daemon.connected_feed();
    let lengths = measure(&one, &daemon, &mut feed, "pump-qual", &OVER)["series"].clone();
    daemon.stop();
    let daemon = two.start();
    let mut feed = daemon.connected_feed();
    let pulls = pull(&two, &daemon, &mut feed)["series"].clone();
    let kept = two.path("kept");
    let output = two.run(&["archive", kept.to_str().unwrap()]);
    assert!(output.status.success(), "{output:?}");

    assert_eq!(combination(&one, &[])["standing"], "not_shown");
    assert_eq!(combination(&two, &[])["standing"], "not_shown");
    let archive = ["--also", kept.to_str().unwrap()];
    let state = two.path("state");
    let folder = ["--also", state.to_str().unwrap()];
    let together = combination(&one, &archive);
    assert_eq!(together["standing"], "shown", "{together}");
    assert_eq!(combination(&one, &folder), together);
    let series: Vec<_> = together["shown_axes"]
        .as_array()
        .unwrap()
        .iter()
        .map(|of| &of["series_id"])
        .collect();
    assert_eq!(series, [&lengths, &lengths, &pulls]);
    // Seen from the other bench it is the same.
    let state = one.path("state");
    assert_eq!(
        combination(&two, &["--also", state.to_str().unwrap()]),
        together
    );

    // A newer series that is not enough counts against, wherever it was measured.
    let under = measure(&two, &daemon, &mut feed, "pump-qual", &UNDER)["series"].clone();
    let against = combination(&one, &folder);
    assert_eq!(against["standing"], "not_shown");
    assert!(
        missing(&against)[0].contains(&format!("(series {under} of journal ")),
        "{against}"
    );
    let twice = two.run(&["qualified", "--also", kept.to_str().unwrap()]);
    assert_eq!(twice.status.code(), Some(2));
    let said = String::from_utf8_lossy(&twice.stderr).into_owned();
    assert!(said.contains("which is read already"), "{said}");
}

#[test]
fn it_lapses_by_date_and_by_a_check_of_the_tool_and_the_rule_is_that_of_the_configuration() {
    let (shop, _daemon, _feed, [over, _]) = shown("last_check = \"2020-01-01\"");
    let one = combination(&shop, &[]);
    // It lapses the day after twelve months, and by a check of the tool.
    let until = one["until"].as_str().unwrap();
    let on = one["on"].as_str().unwrap();
    assert_eq!(until.split_at(4).1, on.split_at(4).1);
    assert_eq!(combination(&shop, &["--on", until])["standing"], "shown");
    let late = format!("{}-03-01", until[..4].parse::<u16>().unwrap() + 1);
    let late = combination(&shop, &["--on", &late]);
    assert_eq!(
        (&late["standing"], &late["lapses"]),
        (
            &json!("lapsed"),
            &json!([format!(
                "its oldest series counted until {until}: 12 months"
            )])
        )
    );
    let tomorrow = format!("{}-01-01", on[..4].parse::<u16>().unwrap() + 1);
    let care = format!("last_check = \"{tomorrow}\"\ncheck_due = \"{tomorrow}\"");
    shop.write("tools.toml", &TOOLS.replace("TOOL_CARE", &care));
    let checked = combination(&shop, &["--on", &format!("{}-02-01", &tomorrow[..4])]);
    assert_eq!(
        checked["lapses"],
        json!([
            format!("T-07 was checked on {tomorrow} after its oldest series"),
            format!("the check of T-07 was due on {tomorrow}: have it checked")
        ])
    );
    assert_eq!(
        combination(&shop, &[])["standing"],
        "shown",
        "not yet checked"
    );

    // Without pull tests in the rule they are not required, and the rule is the configuration's.
    configure(
        &shop,
        "\n[qualification]\npull = false\nppk = 1.4\nmonths = 6\n",
    );
    let (rule, _) = listed(&shop, &[]);
    assert_eq!(
        (
            &rule["ppk"],
            &rule["pull"],
            &rule["months"],
            &rule["configured"]
        ),
        (&json!(1.4), &json!(false), &json!(6), &json!(true))
    );
    let one = combination(&shop, &[]);
    assert_eq!(
        missing(&one),
        [format!(
            "core crimp height: the lower 95 % confidence bound of Ppk is 1.372 instead of 1.40 (series {over})"
        )]
    );
}

#[test]
fn a_changed_sheet_and_a_rejected_newer_series_count_against_and_a_restart_changes_nothing() {
    let (shop, daemon, mut feed, [over, _]) = shown("");
    assert_eq!(combination(&shop, &[])["standing"], "shown");
    // A sheet that has changed wants the axis to be shown again.
    shop.write("sheet.toml", &SHEET.replace("2.40 ±0.10", "2.40 ±0.09"));
    let one = combination(&shop, &[]);
    assert_eq!(
        missing(&one),
        [format!(
            "core crimp width: series {over} was judged by other limits than the sheet has now"
        )]
    );

    // A rejected newer series counts against.
    shop.write("sheet.toml", SHEET);
    let mut bad = OVER;
    bad[7] = 170;
    let rejected = measure(&shop, &daemon, &mut feed, "pump-qual", &bad);
    assert_eq!(rejected["outcome"], "rejected");
    let one = combination(&shop, &[]);
    assert_eq!(
        missing(&one),
        [format!("series {} was rejected", rejected["series"])]
    );

    // The state on disk has it all: a restart and another segment change nothing.
    daemon.stop();
    assert_eq!(combination(&shop, &[]), one);
    let verified = shop.run(&["verify"]);
    assert_eq!(verified.status.code(), Some(0), "{verified:?}");
    let text = shop.run(&["qualified"]);
    let text = String::from_utf8(text.stdout).unwrap();
    assert!(
        text.contains("QF-250-F  2.0 mm²  –            not shown"),
        "{text}"
    );
    assert!(text.contains("the default rule, because the configuration has no [qualification]"));
}

#[test]
fn a_first_off_of_what_is_not_shown_is_refused_by_page_and_card_until_a_qualification_lifts_it() {
    let shop = shop("");
    let scanner = VirtualCaliper::open_at(shop.path("tty-scanner")).unwrap();
    let port = scanner.path().display();
    let more = format!(
        "\n[[instrument]]\nname = \"scanner-1\"\nstation = \"bench-1\"\nkind = \"scanner\"\nport = \"{port}\"\n"
    );
    configure(
        &shop,
        &format!("{more}\n[qualification]\nrequire = true\npull = false\n"),
    );
    let daemon = shop.start();
    let mut feed = daemon.feed_from_the_beginning();
    for _ in ["caliper-1", "caliper-2", "scanner-1"] {
        feed.wait_for("attached"); // what a port was sent before is thrown away when it is opened
    }
    let refused = daemon.refused("arm", &json!({"plan": "pump-first"}));
    let never = "QF-250-F on 2.0 mm² with nest 2.0 of T-07 was never tried in a qualification";
    assert_eq!(refused["message"], never);
    let remedy = "measure what is missing first: start pump-qual, pump-qual-24, pull-qual";
    assert_eq!(refused["data"]["remedy"], remedy);
    scanner.send(b"tj/arm/pump-first\r").unwrap();
    let card = feed.wait_for("refused");
    assert_eq!(
        (&card["reason"], &card["remedy"]),
        (&json!(never), &json!(remedy))
    );

    // A qualification may be started all the same. One that shows too little says what is missing.
    measure(&shop, &daemon, &mut feed, "pump-qual-24", &OVER[..24]);
    scanner.send(b"tj/arm/pump-first\r").unwrap();
    let card = feed.wait_for("refused");
    let series = feed_series(&card["reason"]);
    assert_eq!(
        card["reason"],
        format!(
            "QF-250-F on 2.0 mm² with nest 2.0 of T-07 is not shown: core crimp height: 24 of 25 pieces (series {series}), core crimp width: 24 of 25 pieces (series {series})"
        )
    );

    // One that shows it lifts the refusal at once, and what is armed says what shows it.
    let over = measure(&shop, &daemon, &mut feed, "pump-qual", &OVER);
    scanner.send(b"tj/arm/pump-first\r").unwrap();
    let armed = feed.wait_for("armed");
    assert_eq!(armed["plan"], "pump-first");
    let qualified = &armed["qualified"];
    assert_eq!(
        (
            &qualified["pieces_least"],
            &qualified["ppk"],
            &qualified["months"]
        ),
        (&json!(25), &json!(1.33), &json!(12))
    );
    let axes = qualified["shown_axes"].as_array().unwrap();
    let axes: Vec<_> = axes
        .iter()
        .map(|of| (of["axis"].as_str().unwrap(), &of["series_id"]))
        .collect();
    let series = &over["series"];
    assert_eq!(
        axes,
        [("core_crimp_height", series), ("core_crimp_width", series)]
    );

    // After a kill the state on disk still shows it; a changed sheet takes that back.
    daemon.kill();
    let daemon = shop.start();
    daemon.call("arm", &json!({"plan": "pump-first", "cut": true}));
    shop.write("sheet.toml", &SHEET.replace("2.40 ±0.10", "2.40 ±0.09"));
    daemon.call("reload", &json!({}));
    let refused = daemon.refused("arm", &json!({"plan": "pump-first", "cut": true}));
    let reason = refused["message"].as_str().unwrap();
    assert!(
        reason.ends_with(&format!(
            "core crimp width: series {series} was judged by other limits than the sheet has now"
        )),
        "{reason}"
    );
    daemon.stop();

    // `verify` follows what was armed, and notices a series that shows nothing of the kind.
    let verified = shop.run(&["verify"]);
    assert_eq!(verified.status.code(), Some(0), "{verified:?}");
    let path = shop.path("state/journal/00000001.jsonl");
    let journal = std::fs::read_to_string(&path).unwrap();
    let forged = journal.replacen("\"pieces_least\":25", "\"pieces_least\":30", 1);
    assert_ne!(forged, journal);
    std::fs::write(&path, forged).unwrap();
    let verified = shop.run(&["verify"]);
    let said = String::from_utf8(verified.stdout).unwrap();
    assert_eq!(verified.status.code(), Some(1), "{said}");
    assert!(
        said.contains("what is shown does not follow from the entries before"),
        "{said}"
    );
}

#[test]
fn what_this_shop_can_make_is_a_report_that_is_made_again_from_the_journal_and_the_rule_on_it() {
    let (shop, daemon, mut feed, [over, pulled]) = shown("check_due = \"2099-01-01\"");
    let file = shop.path("qualified.html");
    let file = file.to_str().unwrap();
    let made = shop.run(&["report", "--qualified", "-o", file]);
    assert_eq!(made.status.code(), Some(0), "{made:?}");
    let page = std::fs::read_to_string(file).unwrap();
    for words in [
        "Qualifications",
        "1 shown, 1 never tried",
        "1.372",
        "190.5 N",
        &format!("{over}, {pulled}"),
    ] {
        assert!(page.contains(words), "{words} is not in {page}");
    }
    let verify = |page: &str| {
        std::fs::write(file, page).unwrap();
        let output = shop.run(&["verify", file]);
        (
            output.status.code(),
            String::from_utf8(output.stdout).unwrap(),
        )
    };
    let (code, said) = verify(&page);
    assert_eq!(code, Some(0), "{said}");
    assert!(
        said.contains("the rule, the limits of the sheets, and the checks of the tools (25 pieces, Ppk 1.33, 12 months, 2 rows, 3 columns)"),
        "{said}"
    );
    // A word that was changed; a rule that was loosened, whose figures then differ; a row that was left out.
    let (code, said) = verify(&page.replacen("1.372", "1.732", 1));
    assert_eq!(code, Some(1));
    assert!(
        said.contains("QF-250-F on 2.0 mm², T-07 2.0, ppk at least"),
        "{said}"
    );
    let (code, said) =
        verify(&page.replacen("\"ppk_hundredths\":133", "\"ppk_hundredths\":150", 1));
    assert_eq!(code, Some(1));
    assert!(
        said.contains("0 shown") || said.contains("not shown"),
        "{said}"
    );
    let (code, said) = verify(&page.replacen("\"nest\":\"2.0\"", "\"nest\":\"9\"", 1));
    assert_eq!(code, Some(1));
    assert!(
        said.contains("has qualification series, and no row or column here"),
        "{said}"
    );

    // A series after it is not in the page, and verify says so.
    measure(&shop, &daemon, &mut feed, "pump-qual-24", &OVER[..24]);
    let (code, said) = verify(&page);
    assert_eq!(code, Some(0), "{said}");
    assert!(said.contains("1 of them about these series"), "{said}");
}

/// The number in `(series 42)`.
fn feed_series(reason: &Value) -> String {
    let (_, behind) = reason.as_str().unwrap().rsplit_once("(series ").unwrap();
    behind.trim_end_matches(')').to_owned()
}

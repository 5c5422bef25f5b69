//! Nests of the shop's tools against factory pieces: from the caliper to the ranking, and what cannot be ranked.

use crate::harness::{Daemon, Lines, Shop};
use serde_json::{Value, json};
use std::fmt::Write as _;

const TOOLS: &str = r#"
[[tool]]
id = "R-02"
class = "repair"
[[tool.nest]]
id = "1"
wires = ["2.0 mm²"]
[[tool.nest]]
id = "2"
wires = ["2.0 mm²"]
[[tool.nest]]
id = "3"
wires = ["2.0 mm²"]
[[tool.nest]]
id = "4"
wires = ["3.0 mm²"]

[[tool]]
id = "T-07"
class = "production"
terminals = ["RB-090-M"]
"#;

/// The keys of a plan for pieces of the factory, or of a nest; pieces and axes are added.
fn plan(id: &str, more: &str) -> String {
    format!(
        "[[plan]]\nid = \"{id}\"\nterminal = \"XQ-11-F\"\nwire = \"2.0 mm²\"\npieces = 5\naxes = [\"core_crimp_height\"]\n{more}\n"
    )
}

fn plans() -> String {
    let mut text = plan("factory", "purpose = \"reference\"");
    for nest in [1, 2, 3] {
        let more = format!("purpose = \"qualification\"\ntool = \"R-02\"\nnest = \"{nest}\"");
        text.push_str(&plan(&format!("nest-{nest}"), &more));
    }
    text
}

struct Bench {
    shop: Shop,
    daemon: Daemon,
    feed: Lines,
    zero: i64,
}

impl Bench {
    /// A shop with three nests for the wire, whose sheet has wide limits.
    fn new(plans: &str) -> Self {
        let shop = Shop::new();
        let sheet = "[[terminal]]\nid = \"XQ-11-F\"\n[[terminal.row]]\nwire = \"2.0 mm²\"\ncore_crimp_height = \"1.62 ±0.20 mm\"\ncore_crimp_width = \"2.40 ±0.30 mm\"\nstrip_length = \"5.0 ±0.5 mm\"\n";
        shop.write("sheet.toml", sheet);
        shop.write("plans.toml", plans);
        shop.write("tools.toml", TOOLS);
        let config = shop.configuration();
        let config = config.replace("[daemon]\n", "[daemon]\ntools = [\"tools.toml\"]\n");
        shop.write("tallyjaw.toml", &config);
        let daemon = shop.start();
        let feed = daemon.connected_feed();
        Self {
            shop,
            daemon,
            feed,
            zero: 0,
        }
    }

    /// Zeros in turns, since two presses of one value within 150 ms are one press of a bouncing key.
    fn zero(&mut self) {
        self.zero = 1 - self.zero;
        self.shop.press(self.zero);
        assert_eq!(self.feed.wait_for("zeroed")["ok"], true);
    }

    /// Measures a series in hundredths of a millimetre, a zero before and after; its number.
    fn measure(&mut self, plan: &str, hundredths: &[i64]) -> String {
        self.daemon.call("arm", &json!({"plan": plan}));
        let armed = self.feed.wait_for("armed");
        self.zero();
        for value in hundredths {
            self.shop.press(*value);
            assert_eq!(self.feed.wait_for("reading")["standing"], "counted");
        }
        self.zero();
        self.feed.wait_for("completed");
        armed["seq"].to_string()
    }

    fn run(&self, arguments: &[&str]) -> (Option<i32>, String) {
        let output = self.shop.run(arguments);
        let mut text = String::from_utf8(output.stdout).unwrap();
        text.push_str(&String::from_utf8(output.stderr).unwrap());
        (output.status.code(), text)
    }

    /// The answer for programs, which the schema describes.
    fn json(&self, arguments: &[&str]) -> Value {
        let output = self.shop.run(&[&["--json", "nests"], arguments].concat());
        let answer = serde_json::from_slice(&output.stdout).unwrap();
        crate::schema::assert_told("nests", std::slice::from_ref(&answer));
        answer
    }
}

#[test]
fn the_nests_are_ranked_by_their_crimps_against_the_factory_pieces() {
    let mut bench = Bench::new(&plans());
    let nest_2 = bench.measure("nest-2", &[163, 164, 165, 164, 163]);
    let factory = bench.measure("factory", &[161, 162, 163, 162, 161]);
    bench.measure("nest-1", &[171, 173, 172, 171, 173]);
    let nest_3 = bench.measure("nest-3", &[158, 159, 160, 159, 158]);

    let (code, out) = bench.run(&["nests", &factory]);
    assert_eq!(code, Some(0), "{out}");
    let sentence = "R-02 nest 2 gives 1.638 ±0.010 mm where the factory has 1.618 mm: the nearest of 3; \
                    R-02 nest 3 with 5 pieces cannot be distinguished from it. \
                    Its core crimp height differs from the factory's by +0.020 (+0.008 to +0.032) mm.";
    assert!(out.contains(sentence), "{out}");
    let rows: Vec<Vec<&str>> = out
        .lines()
        .filter(|line| line.contains("core crimp height") && line.contains("  "))
        .map(|line| {
            line.split("  ")
                .filter(|cell| !cell.is_empty())
                .map(str::trim)
                .collect()
        })
        .collect();
    let names: Vec<_> = rows
        .iter()
        .map(|row| (row[0], *row.last().unwrap()))
        .collect();
    assert_eq!(
        names,
        [
            ("factory pieces", "–"),
            ("R-02 nest 2", "the nearest"),
            ("R-02 nest 3", "not distinguished from it"),
            ("R-02 nest 1", "farther"),
        ],
        "{out}"
    );
    assert!(
        out.contains(
            "not ranked: R-02 nest 4: no own crimps of this terminal on this wire were measured"
        ),
        "{out}"
    );
    assert!(!out.contains("T-07"), "it is for another terminal: {out}");

    let answer = bench.json(&[&factory]);
    let ranked = answer["ranked"].as_array().unwrap();
    let standings: Vec<_> = ranked
        .iter()
        .map(|nest| (&nest["nest"], &nest["standing"]))
        .collect();
    assert_eq!(
        standings,
        [
            (&json!("2"), &json!("nearest")),
            (&json!("3"), &json!("not_distinguished")),
            (&json!("1"), &json!("farther")),
        ]
    );
    // By scipy: ttest_ind(nest 2, factory, equal_var=False) and its confidence interval.
    let axis = &ranked[0]["axes"][0];
    assert_eq!(
        [&axis["n"], &axis["mean_nm"], &axis["difference_nm"]],
        [&json!(5), &json!(1_638_000), &json!(20_000)]
    );
    assert_eq!(
        [&axis["difference_low_nm"], &axis["difference_high_nm"]],
        [&json!(7_798), &json!(32_202)]
    );
    assert_eq!(ranked[0]["series"], json!([nest_2.parse::<u64>().unwrap()]));

    // More pieces of both separate them; own crimps since a moment after all of them are none.
    bench.measure("nest-2", &[162, 163, 162, 163, 162]);
    bench.measure("nest-2", &[162, 163, 162, 163, 162]);
    bench.measure("nest-3", &[157, 158, 159, 158, 157]);
    let (code, out) = bench.run(&["nests", &factory, "--tool", "R-02"]);
    assert_eq!(code, Some(0), "{out}");
    assert!(out.contains(": the best of 3."), "{out}");
    let (code, out) = bench.run(&["nests", &factory, "--since", "2100-01-01"]);
    assert_eq!(code, Some(1));
    assert!(
        out.contains("no nest has pieces of XQ-11-F on 2.0 mm² to judge"),
        "{out}"
    );
    let (code, out) = bench.run(&["nests", &factory, "--tool", "R-20"]);
    assert_eq!(code, Some(2));
    assert!(
        out.contains("no tool \"R-20\"") && out.contains("R-02"),
        "{out}"
    );

    let (code, out) = bench.run(&["nests", &nest_3]);
    assert_eq!(code, Some(1));
    assert!(
        out.contains("is not of factory pieces: its purpose is qualification"),
        "{out}"
    );
    let refused = bench.json(&[&nest_3]);
    assert_eq!(refused["kind"], "refused");
}

#[test]
fn what_says_nothing_of_a_nest_is_left_out_with_its_reason() {
    let mut text = plan("factory", "purpose = \"reference\"");
    let two_axes = text.replace(
        "\"core_crimp_height\"",
        "\"core_crimp_height\", \"core_crimp_width\"",
    );
    text.push_str(&two_axes.replace("\"factory\"", "\"factory-2\""));
    let few = plan("few", "purpose = \"reference\"").replace("pieces = 5", "pieces = 2");
    let own = "purpose = \"first_off\"\ntool = \"R-02\"\nnest = \"1\"";
    let unbracketed = plan(
        "no-zero",
        &format!("{own}\nzero = {{ before_first = true, closing = false }}"),
    );
    let strip =
        plan("strip", "purpose = \"reference\"").replace("core_crimp_height", "strip_length");
    let _ = write!(text, "{few}{}{unbracketed}{strip}", plan("own", own));
    let without_tool = plan("no-tool", "purpose = \"in_process\"");
    text.push_str(&without_tool);
    let mut bench = Bench::new(&text);
    let values = [161, 162, 163, 162, 161];
    let factory = bench.measure("factory", &values);

    let (code, out) = bench.run(&["nests", &factory]);
    assert_eq!(code, Some(1));
    assert!(out.contains("no nest has pieces"), "{out}");

    // An own series without a closing zero, one without a tool, one that is stopped early: each with its reason.
    bench.daemon.call("arm", &json!({"plan": "no-zero"}));
    let unbracketed = bench.feed.wait_for("armed")["seq"].to_string();
    bench.zero();
    for value in values {
        bench.shop.press(value);
        bench.feed.wait_for("reading");
    }
    bench.feed.wait_for("completed");
    let toolless = bench.measure("no-tool", &values);
    bench.daemon.call("arm", &json!({"plan": "own"}));
    let early = bench.feed.wait_for("armed")["seq"].to_string();
    bench.zero();
    bench.shop.press(162);
    bench.feed.wait_for("reading");
    bench.daemon.call("disarm", &json!({}));
    bench.feed.wait_for("completed");
    let (code, out) = bench.run(&["nests", &factory]);
    assert_eq!(code, Some(1));
    for why in [
        format!("series {unbracketed}: is of a plan that asks for no zero"),
        format!("series {toolless}: names no tool"),
        format!("series {early}: was not measured to its end"),
    ] {
        assert!(out.contains(&why), "{why}: {out}");
    }
    let own = bench.measure("own", &values);
    let (code, out) = bench.run(&["nests", &factory]);
    assert_eq!(code, Some(0));
    assert!(out.contains("R-02 nest 1 gives 1.618 ±0.010 mm where the factory has 1.618 mm: the only nest that can be judged."), "{out}");
    assert_eq!(
        bench.json(&[&factory])["ranked"][0]["series"],
        json!([own.parse::<u64>().unwrap()])
    );

    // Two pieces; a length that no nest forms; an axis that a nest lacks.
    let few = bench.measure("few", &[161, 162]);
    let (_, out) = bench.run(&["nests", &few]);
    assert!(
        out.contains("core crimp height: too few readings: got 2, want at least 3"),
        "{out}"
    );
    let strip = bench.measure("strip", &[500, 501, 502, 501, 500]);
    let (_, out) = bench.run(&["nests", &strip]);
    assert!(out.contains("have no height or width"), "{out}");
    let both = bench.measure(
        "factory-2",
        &[161, 162, 163, 162, 161, 240, 241, 242, 241, 240],
    );
    let (code, out) = bench.run(&["nests", &both]);
    assert_eq!(code, Some(1));
    assert!(
        out.contains("R-02 nest 1: no readings of core crimp width"),
        "{out}"
    );
    let (code, out) = bench.run(&["nests", &both, "--axis", "core_crimp_height"]);
    assert_eq!(code, Some(0), "{out}");
    let (_, out) = bench.run(&["nests", &factory, "--axis", "core_crimp_width"]);
    assert!(
        out.contains("the factory pieces have no readings of core_crimp_width"),
        "{out}"
    );
}

#[test]
fn where_height_speaks_for_one_nest_and_width_for_another_the_answer_says_so() {
    let both = |text: String| {
        text.replace(
            "[\"core_crimp_height\"]",
            "[\"core_crimp_height\", \"core_crimp_width\"]",
        )
    };
    let mut bench = Bench::new(&both(plans()));
    let around = |height: i64, width: i64| {
        let heights = [0, 1, 2, 1, 0].map(|step| height + step);
        let widths = [0, 1, 2, 1, 0].map(|step| width + step);
        [heights, widths].concat()
    };
    let factory = bench.measure("factory", &around(161, 240));
    bench.measure("nest-1", &around(161, 255));
    bench.measure("nest-2", &around(175, 240));
    let (code, out) = bench.run(&["nests", &factory]);
    assert_eq!(code, Some(0), "{out}");
    let sentence = "No nest is the best on every axis: by core crimp height R-02 nest 1, by core crimp width R-02 nest 2. \
                    The limits of these axes decide which matters more.";
    assert!(out.contains(sentence), "{out}");
    bench.measure("nest-3", &around(162, 239));
    let (_, out) = bench.run(&["nests", &factory]);
    let sentence = "R-02 nest 3 gives core crimp height 1.628 ±0.010 mm where the factory has 1.618 mm, \
                    and core crimp width 2.398 ±0.010 mm where the factory has 2.408 mm: the best of 3.";
    assert!(out.contains(sentence), "{out}");
}

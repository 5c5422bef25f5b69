//! Studies of several series of a journal: pairs by piece, visual checks of two persons, errors at gauge blocks.

use super::study::error;
use crate::harness::{Daemon, Lines, Shop};
use serde_json::{Value, json};

const SHEET: &str = r#"
[[terminal]]
id = "QF-250-F"
source = "made up"

[[terminal.row]]
wire = "2.0 mm²"
core_crimp_height = "1.62 ±0.20 mm"
core_crimp_width = "2.40 ±0.40 mm"
"#;

fn plan(id: &str, axes: &str, more: &str) -> String {
    format!(
        "[[plan]]\nid = \"{id}\"\nterminal = \"QF-250-F\"\nwire = \"2.0 mm²\"\naxes = [{axes}]\npieces = 12\npurpose = \"in_process\"\ndecision = \"simple\"\nzero = {{ before_first = false, closing = false }}\n{more}\n"
    )
}

struct Bench {
    shop: Shop,
    daemon: Daemon,
    feed: Lines,
}

impl Bench {
    fn new(plans: &str) -> Self {
        let shop = Shop::new();
        shop.write("sheet.toml", SHEET);
        shop.write("plans.toml", plans);
        let daemon = shop.start();
        let feed = daemon.connected_feed();
        Self { shop, daemon, feed }
    }

    fn said(&mut self, arguments: &[&str]) {
        let output = self.shop.run(arguments);
        assert!(output.status.success(), "{arguments:?}: {}", error(&output));
    }

    /// Measures a series of these hundredths of a millimetre.
    fn measure(&mut self, plan: &[&str], values: impl IntoIterator<Item = i64>) -> String {
        self.said(&[&["arm"], plan].concat());
        let series = self.feed.wait_for("armed")["seq"].to_string();
        for value in values {
            self.shop.press(value);
            self.feed.wait_for("reading");
        }
        series
    }

    fn study(&self, arguments: &[&str]) -> Value {
        let output = self
            .shop
            .run(&[&["study"], arguments, &["--json"]].concat());
        assert!(output.status.success(), "{arguments:?}: {}", error(&output));
        serde_json::from_slice(&output.stdout).unwrap()
    }
}

/// Two pieces of each height, and widths that rise with it.
fn height(piece: i64) -> i64 {
    155 + piece % 6
}

fn width(piece: i64) -> i64 {
    230 + 2 * height(piece) - 310 + (piece * 5) % 3
}

#[test]
fn pairs_are_found_by_piece_in_one_series_and_across_the_series_of_a_job() {
    let (height_axis, width_axis) = ("\"core_crimp_height\"", "\"core_crimp_width\"");
    let plans = plan(
        "both",
        &format!("{height_axis}, {width_axis}"),
        "order = \"by_piece\"\n",
    ) + &plan("heights", height_axis, "")
        + &plan("widths", width_axis, "");
    let mut bench = Bench::new(&plans);
    let both = bench.measure(
        &["both"],
        (0..12).flat_map(|piece| [height(piece), width(piece)]),
    );
    bench.feed.wait_for("completed");
    let axes = ["--x", "core_crimp_height", "--axis", "core_crimp_width"];
    let one = bench.study(&[&["regression", &both], &axes[..]].concat());
    assert_eq!((&one["n"], &one["ambiguous"]), (&json!(12), &json!(0)));
    assert_eq!(one["x"], "core crimp height");
    bench.said(&["job", "4711"]);
    for (plan, of) in [("heights", true), ("widths", false)] {
        let of = |piece| if of { height(piece) } else { width(piece) };
        bench.measure(&[plan], (0..12).map(of));
        bench.feed.wait_for("completed");
    }
    let job = [&["regression", "--job", "4711"], &axes[..]].concat();
    let none = bench.shop.run(&[&["study"], &job[..]].concat());
    assert_eq!(none.status.code(), Some(2));
    assert!(error(&none).contains("--pair-by job"), "{}", error(&none));
    let across = bench.study(&[&job[..], &["--pair-by", "job"]].concat());
    for figure in ["n", "slope", "intercept", "residual_sd", "lack_of_fit_p"] {
        assert_eq!(across[figure], one[figure], "{figure}");
    }
    // The pieces of a second series of heights have the same numbers: nobody knows which is meant.
    bench.measure(&["heights"], (0..12).map(height));
    bench.feed.wait_for("completed");
    let twice = bench
        .shop
        .run(&[&["study"], &job[..], &["--pair-by", "job"]].concat());
    assert_eq!(twice.status.code(), Some(2));
    assert!(
        error(&twice).contains("several on an axis"),
        "{}",
        error(&twice)
    );
}

#[test]
fn a_plan_takes_the_standard_deviation_within_series_of_the_journal() {
    let mut bench = Bench::new(&plan("heights", "\"core_crimp_height\"", ""));
    let series = [0, 10].map(|more| {
        let of = bench.measure(&["heights"], (0..12).map(|piece| height(piece) + more));
        bench.feed.wait_for("completed");
        of
    });
    let both = series.join(",");
    let asked = ["plan", "comparison", "--difference", "0.02 mm"];
    let found = bench.study(&[&asked[..], &["--sd-of", &both]].concat());
    // Squares of 35 in each series, by hand; bounds by scipy.stats.chi2 with 22 degrees of freedom.
    let sd = &found["sd"];
    for (name, want) in [
        ("value", 0.017_837_651_700),
        ("low", 0.013_795_547_901),
        ("high", 0.025_246_545_313),
    ] {
        let got = sd[name].as_f64().unwrap();
        assert!((got - want).abs() < 1e-10, "{name}: {got}");
    }
    assert_eq!(sd["degrees_of_freedom"], 22.0);
    // Each size typed gives the same number of pieces.
    let typed = |sd: &str| bench.study(&[&asked[..], &["--sd", sd]].concat());
    assert_eq!(found["pieces"], typed("0.0178376517 mm")["pieces"]);
    let upper = typed("0.0252465453 mm")["pieces"].as_u64().unwrap();
    assert_eq!(sd["pieces_of_each_at_high"], upper / 2);
    let refused = |asked: &[&str], words: &str| {
        let output = bench
            .shop
            .run(&[&["study", "plan", "comparison"], asked].concat());
        assert_eq!(output.status.code(), Some(2), "{asked:?}");
        assert!(error(&output).contains(words), "{}", error(&output));
    };
    refused(
        &["--difference", "5 N", "--sd-of", &both],
        "of a length, the plan is of a force",
    );
    refused(&["--difference", "0.02 mm", "--sd-of", "9999"], "9999");
}

#[test]
fn visual_checks_of_two_persons_are_compared_piece_by_piece() {
    let looks = "looks = [\"bellmouth visible\"]\n";
    let text = plan("looks", "\"core_crimp_height\"", looks).replace("pieces = 12", "pieces = 4");
    let mut bench = Bench::new(&text);
    let mut series = Vec::new();
    for (operator, answers) in [
        ("anna", [true, true, false, true]),
        ("ben", [true, false, false, true]),
    ] {
        bench.said(&["arm", "looks", "--operator", operator]);
        series.push(bench.feed.wait_for("armed")["seq"].to_string());
        for (at, good) in answers.into_iter().enumerate() {
            bench.shop.press(160 + i64::try_from(at).unwrap());
            bench.feed.wait_for("reading");
            let answer = if good { "good" } else { "bad" };
            bench
                .daemon
                .call("look", &json!({"look": 1, "answer": answer}));
            bench.feed.wait_for("looked");
        }
        bench.feed.wait_for("completed");
    }
    let told = bench.study(&["agreement", &series[0], &series[1]]);
    assert_eq!(told["appraisers"], json!(["anna", "ben"]));
    let between = &told["between"][0];
    assert_eq!(
        (&between["agreed"], &between["items"]),
        (&json!(3), &json!(4))
    );
    assert_eq!(
        between["kappa"]
            .as_f64()
            .map(|kappa| format!("{kappa:.3}"))
            .as_deref(),
        Some("0.500")
    );
}

#[test]
fn errors_at_gauge_blocks_are_read_from_verification_series() {
    let plan = "[[plan]]\nid = \"check\"\nblocks = [\"1.30 mm\", \"2.50 mm\", \"41.30 mm\"]\ninstrument = \"caliper-1\"\nrepeats = 3\npurpose = \"verification\"\nzero = { before_first = false, closing = false }\n";
    let mut bench = Bench::new(plan);
    let values = [130, 131, 130, 250, 251, 250, 4131, 4132, 4131];
    bench.measure(&["check"], values);
    bench.feed.wait_for("completed");
    let told = bench.study(&["linearity", "--purpose", "verification"]);
    assert_eq!(told["n"], 9);
    let sizes: Vec<f64> = told["sizes"]
        .as_array()
        .unwrap()
        .iter()
        .map(|of| of["size"].as_f64().unwrap())
        .collect();
    assert_eq!(sizes, [1.3, 2.5, 41.3]);
    let last = told["sizes"][2]["bias"].as_f64().unwrap();
    assert!((last - 0.04 / 3.0).abs() < 1e-9, "{told}");
    // Stability: the same errors against time.
    let stable = bench.study(&[
        "drift",
        "--purpose",
        "verification",
        "--deviation",
        "--axis",
        "gauge_block_41.30_mm",
        "--against",
        "time",
    ]);
    assert_eq!(stable["n"], 3);
}

//! Conclusions that a study prints, attacked with data on which they would be false: docs/coverage.md lists them.

use super::study::Folder;
use std::fmt::Write as _;
use tallyjaw::stats::random::Random;

/// A file with these headings and lines.
fn file(name: &str, headings: &str, lines: impl Iterator<Item = String>) -> Folder {
    let folder = Folder::new();
    let lines: Vec<String> = std::iter::once(headings.to_owned()).chain(lines).collect();
    folder.write(name, &(lines.join("\n") + "\n"));
    folder
}

fn said(folder: &Folder, words: &str) -> String {
    let words: Vec<&str> = words.split(' ').collect();
    let told = folder.json(&words);
    told["sentence"].as_str().unwrap_or_default().to_owned()
}

/// A reading in millimetres, to one hundredth.
fn mm(value: f64) -> String {
    format!("{value:.2}")
}

const LINEARITY: &str = "linearity --from of.csv --column value --unit mm --size block";

#[test]
fn a_bias_at_both_ends_is_not_averaged_away() {
    let lines = [(5, 2), (15, 0), (25, -2)]
        .into_iter()
        .flat_map(|(block, off)| {
            [-1, 0, 0, 1, 0, 1, -1, 0]
                .map(|noise| format!("{block}.{:02},{block}", 50 + off + noise))
        });
    // Blocks of 5.50, 15.50 and 25.50 mm.
    let lines = lines.map(|line| format!("{line}.50"));
    let said = said(&file("of.csv", "value,block", lines), LINEARITY);
    assert!(
        said.starts_with("a bias is shown at 5.50 mm, 25.50 mm, where"),
        "{said}"
    );
    assert!(!said.contains("no bias is shown"), "{said}");
}

#[test]
fn rounding_alone_is_neither_a_bias_nor_a_change_with_the_size() {
    // A perfect caliper with a step of 0.01 mm, and blocks that lie between two steps.
    let lines = [5.001, 10.002, 25.004]
        .into_iter()
        .flat_map(|block| std::iter::repeat_n(format!("{},{block}", mm(block)), 10));
    let said = said(&file("of.csv", "value,block", lines), LINEARITY);
    assert!(said.starts_with("no bias is shown"), "{said}");
    assert!(
        said.contains("no change of the error with the size is shown"),
        "{said}"
    );
}

const GAUGE: &str = "gauge --from of.csv --column value --unit mm --part part --appraiser who";

/// Ten parts, three persons, three times: `value` gives each reading.
fn gauge(mut value: impl FnMut(usize, usize, usize) -> f64) -> Folder {
    let mut lines = Vec::new();
    for part in 0..10 {
        for who in 0..3 {
            for trial in 0..3 {
                lines.push(format!("{},{part},w{who}", mm(value(part, who, trial))));
            }
        }
    }
    file("of.csv", "value,part,who", lines.into_iter())
}

#[test]
fn an_instrument_that_always_rounds_the_same_way_is_not_acceptable_by_that() {
    let part = |part: usize| 1.6 + 0.01 * f64::from(u32::try_from(part).unwrap());
    let folder = gauge(|at, who, trial| {
        part(at)
            + if (at, who, trial) == (3, 1, 1) {
                0.01
            } else {
                0.0
            }
    });
    // Half a step is 5 % of this tolerance on each side.
    let spec = [
        &GAUGE.split(' ').collect::<Vec<_>>()[..],
        &["--spec", "1.64 ±0.05 mm"],
    ]
    .concat();
    let told = folder.json(&spec);
    assert!(
        told["grr_of_tolerance_high"].as_f64().unwrap() < 10.0,
        "{told}"
    );
    let said = told["sentence"].as_str().unwrap();
    assert!(
        said.contains("with what rounding hides at most 1"),
        "{said}"
    );
    assert!(
        !said.contains(": the measurement system is acceptable;"),
        "{said}"
    );
}

#[test]
fn a_gauge_study_of_equal_parts_names_what_its_share_supposes() {
    let mut random = Random::new(23);
    let said = said(&gauge(|_, _, _| 1.62 + 0.01 * random.next_normal()), GAUGE);
    assert!(said.contains("not acceptable"), "{said}");
    assert!(
        said.ends_with("; this supposes that these parts spread as all parts do"),
        "{said}"
    );
}

#[test]
fn repeated_looks_at_few_items_give_no_interval_of_kappa() {
    let mut lines = Vec::new();
    for item in 0..10 {
        let truth = if item % 2 == 0 { "bad" } else { "good" };
        let answer = if item % 5 == 0 { "good" } else { truth };
        lines.extend(std::iter::repeat_n(
            format!("{item},anna,{answer},{truth}"),
            4,
        ));
    }
    let folder = file("of.csv", "part,appraiser,answer,truth", lines.into_iter());
    let text = folder.text(&[
        "agreement",
        "--from",
        "of.csv",
        "--column",
        "answer",
        "--reference",
        "truth",
    ]);
    let against = "anna against the reference: 9 of 10 the same, 90.0 % (55.5 % to 99.7 %)";
    assert!(text.contains(against), "{text}");
    assert!(
        text.contains("no interval: too few readings: got 10, want at least 30"),
        "{text}"
    );
    assert!(text.contains("bad: 1 of 5 answered otherwise"), "{text}");
}

const REGRESSION: [&str; 11] = [
    "regression",
    "--from",
    "of.csv",
    "--column",
    "force",
    "--unit",
    "N",
    "--x",
    "height",
    "--x-unit",
    "mm",
];

fn range_of(folder: &Folder) -> String {
    let told = folder.json(&[&REGRESSION[..], &["--spec", ">= 130 N"]].concat());
    told["sentence"].as_str().unwrap().to_owned()
}

/// Forces at heights in hundredths of a millimetre above 1.50 mm.
fn forces(heights: &[u32], mut off: impl FnMut() -> f64) -> Folder {
    let lines: Vec<String> = heights
        .iter()
        .map(|height| {
            let height = f64::from(*height);
            format!("{},{:.0}", mm(1.5 + 0.01 * height), 160.0 - height + off())
        })
        .collect();
    file("of.csv", "height,force", lines.into_iter())
}

#[test]
fn a_range_is_not_given_while_the_puller_drifts() {
    let mut random = Random::new(31);
    let heights: Vec<u32> = (0..60).map(|at| at * 7 % 17).collect();
    let mut drift = 0.0;
    let drifting = forces(&heights, || {
        drift = 0.8 * drift + 1.5 * random.next_normal();
        drift
    });
    let said = range_of(&drifting);
    assert!(said.contains("no range of height is given: "), "{said}");
    assert!(
        said.contains("the distances from the line follow each other"),
        "{said}"
    );
    let mut random = Random::new(31);
    let steady = forces(&heights, || 2.0 * random.next_normal());
    assert!(
        range_of(&steady).contains("at each height from 1.50 mm to"),
        "{}",
        range_of(&steady)
    );
}

#[test]
fn a_range_does_not_reach_over_heights_that_nobody_measured() {
    let mut random = Random::new(33);
    let low = (0..24).map(|at| at % 4);
    let heights: Vec<u32> = low.chain([16, 16, 16]).collect();
    let said = range_of(&forces(&heights, || 2.0 * random.next_normal()));
    let gap = "no height between 1.53 and 1.66 mm was measured, more than half of the range";
    assert!(said.contains(gap), "{said}");
}

const LOTS: [&str; 17] = [
    "lots",
    "--from",
    "of.csv",
    "--column",
    "force",
    "--unit",
    "N",
    "--group",
    "lot",
    "--spec",
    ">= 135 N",
    "--aql",
    "1",
    "--limiting",
    "6.5",
    "--kind",
    "variables",
];

#[test]
fn a_lot_with_a_piece_far_below_the_limit_is_not_accepted_by_its_mean() {
    let mut random = Random::new(37);
    let lines: Vec<String> = (0..80)
        .map(|at| {
            let force = if at == 5 {
                134.0
            } else {
                160.0 + random.next_normal()
            };
            format!("{force:.0},{}", if at < 40 { "with" } else { "without" })
        })
        .collect();
    let text = file("of.csv", "force,lot", lines.into_iter()).text(&LOTS);
    let with = "with  normal, 40 readings: not judged: does not apply: these readings are not normally distributed";
    assert!(text.contains(with), "{text}");
    assert!(
        text.contains("without  normal, 40 readings: accepted: the mean is"),
        "{text}"
    );
}

#[test]
fn a_step_and_a_wandering_process_are_no_trend() {
    let drift = "drift --from of.csv --column value --unit mm";
    let mut random = Random::new(41);
    let step: Vec<String> = (0..60)
        .map(|at| mm(if at < 30 { 1.6 } else { 1.64 } + 0.006 * random.next_normal()))
        .collect();
    let mut at = 1.62;
    let walk: Vec<String> = (0..60)
        .map(|_| {
            at += 0.01 * random.next_normal();
            mm(at)
        })
        .collect();
    let trend: Vec<String> = (0..60)
        .map(|at| mm(1.6 + 0.0007 * f64::from(at) + 0.006 * random.next_normal()))
        .collect();
    for lines in [step, walk] {
        let said = said(&file("of.csv", "value", lines.into_iter()), drift);
        assert!(
            said.starts_with("a straight line does not describe these readings"),
            "{said}"
        );
        assert!(!said.contains("if the trend continues"), "{said}");
    }
    let said = said(&file("of.csv", "value", trend.into_iter()), drift);
    assert!(said.starts_with("rising by 0.0"), "{said}");
}

#[test]
fn rounding_makes_means_neither_equivalent_nor_different() {
    let compare = "compare --from of.csv --column value --unit mm --group tool --margin";
    let margin = |margin: &'static str| compare.split(' ').chain([margin]).collect::<Vec<_>>();
    // Tools of 1.6151 and 1.6249 mm both read 1.62 mm nearly always.
    let same = (0..60).map(|at| format!("{},T{}", if at < 2 { "1.63" } else { "1.62" }, at % 2));
    let folder = file("of.csv", "value,tool", same);
    let said = folder.text(&margin("0.005 mm"));
    assert!(
        said.contains("equivalence of the means within ±0.005 mm cannot be tested"),
        "{said}"
    );
    let said = folder.text(&margin("0.02 mm"));
    assert!(
        said.contains("the means are equivalent within ±0.020 mm"),
        "{said}"
    );
    // Tools of 1.6249 and 1.6251 mm read a step apart.
    let apart = (0..60).map(|at| {
        let value = ["1.62", "1.63"][at % 2];
        format!("{},T{}", if at == 7 { "1.62" } else { value }, at % 2)
    });
    let said = file("of.csv", "value,tool", apart).text(&margin("0.02 mm"));
    assert!(
        said.contains("no significant difference of the means"),
        "{said}"
    );
    assert!(
        said.contains("confidence interval, rounding allowed for"),
        "{said}"
    );
}

#[test]
fn interactions_that_are_tested_together_share_their_level() {
    let factors = [
        "factors", "--from", "of.csv", "--column", "value", "--unit", "mm", "--by", "a,b,c,d",
    ];
    let (mut alone, mut together) = (0, 0);
    for seed in 0..12 {
        let mut random = Random::new(seed);
        let lines: Vec<String> = (0..96)
            .map(|at| {
                let value = mm(1.62 + 0.01 * random.next_normal());
                format!(
                    "{value},a{},b{},c{},d{}",
                    at % 2,
                    at / 2 % 2,
                    at / 4 % 2,
                    at / 8 % 2
                )
            })
            .collect();
        let told = file("of.csv", "value,a,b,c,d", lines.into_iter()).json(&factors);
        let sources = told["sources"].as_array().unwrap();
        let low = sources
            .iter()
            .filter(|of| of["interaction"] == true && of["p"].as_f64().unwrap() < 0.05);
        alone += u32::from(low.count() > 0);
        let said = told["sentence"].as_str().unwrap();
        together += u32::from(said.contains("an interaction of"));
        assert!(
            said.contains("p of the 6 interactions are for all together (Holm)"),
            "{said}"
        );
    }
    // Nothing is there to be shown: of six tests one is below 5 % in every fourth set, of all together in every twentieth.
    assert!(alone >= 3 && together <= 1, "{alone} and {together}");
}

#[test]
fn a_tool_that_was_measured_after_the_other_may_be_the_time() {
    let factors = "factors --from of.csv --column value --unit mm --by tool";
    let lines = |tool: fn(u32) -> u32| {
        (0..40).map(move |at| format!("{},T{}", mm(1.6 + 0.002 * f64::from(at)), tool(at)))
    };
    let turn = "the readings of each tool follow each other, so a drift over time would count as spread of tool";
    let said_of = |tool| said(&file("of.csv", "value,tool", lines(tool)), factors);
    assert!(said_of(|at| at / 20).contains(turn));
    assert!(!said_of(|at| at % 2).contains(turn));
}

#[test]
fn a_plan_says_what_its_number_of_pieces_supposes() {
    let folder = Folder::new();
    let mut said = String::new();
    for of in ["capability --index 1.67", "proportion --share 2"] {
        let words: Vec<&str> = ["plan"].into_iter().chain(of.split(' ')).collect();
        let _ = writeln!(said, "{}", folder.json(&words)["sentence"]);
    }
    assert!(said.contains("; this supposes normally distributed, independent readings with a standard deviation of two"), "{said}");
    assert!(
        said.contains("; this supposes pieces that are taken at random"),
        "{said}"
    );
}

/// Four nests in turn have no lag-1 autocorrelation: the claim stands, because their differences are in its spread.
#[test]
fn a_pattern_that_the_order_does_not_show_is_in_the_spread() {
    let mut random = Random::new(43);
    let nests = [0.006, 0.006, -0.006, -0.006];
    let lines: Vec<String> = (0..80)
        .map(|at| mm(1.62 + nests[at % 4] + 0.004 * random.next_normal()))
        .collect();
    let folder = file("of.csv", "value", lines.into_iter());
    let told = folder.json(&[
        "capability",
        "--from",
        "of.csv",
        "--column",
        "value",
        "--unit",
        "mm",
        "--spec",
        "1.62 ±0.05 mm",
    ]);
    // The true standard deviation is 0.0072 mm.
    let (low, truth) = (told["ppk_low"].as_f64().unwrap(), 0.05 / (3.0 * 0.0072));
    assert!(low < truth, "{told}");
}

/// Pieces outside of the limits were taken out before: the interval is too wide, and never too narrow.
#[test]
fn an_interval_of_pieces_that_were_sorted_is_too_wide() {
    let mut random = Random::new(47);
    let all = std::iter::from_fn(|| Some(1.62 + 0.03 * random.next_normal()));
    let kept = all.filter(|value| (value - 1.62).abs() < 0.05).take(60);
    let folder = file("of.csv", "value", kept.map(mm));
    let told = folder.json(&[
        "tolerance",
        "--from",
        "of.csv",
        "--column",
        "value",
        "--unit",
        "mm",
        "--spec",
        "1.62 ±0.05 mm",
    ]);
    assert!(told["tolerance_low"].as_f64().unwrap() < 1.57, "{told}");
    assert!(told["tolerance_high"].as_f64().unwrap() > 1.67, "{told}");
}

/// Fixtures of two instruments with the same names are four fixtures.
#[test]
fn further_factors_of_a_gauge_study_may_be_nested() {
    let mut random = Random::new(53);
    let mut lines = Vec::new();
    for part in 0..5_u32 {
        for at in 0..24_u32 {
            let (who, instrument, fixture) = (at % 2, at / 2 % 2, at / 4 % 3);
            let off = 0.02 * f64::from(part) + 0.01 * f64::from(3 * instrument + fixture);
            let value = mm(1.6 + off + 0.01 * random.next_normal());
            lines.push(format!("{value},{part},w{who},i{instrument},f{fixture}"));
        }
    }
    let folder = file(
        "of.csv",
        "value,part,who,instrument,fixture",
        lines.into_iter(),
    );
    let words = [GAUGE, "--factors instrument/fixture"].join(" ");
    let told = folder.json(&words.split(' ').collect::<Vec<_>>());
    let sources: Vec<&str> = told["sources"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|of| of["interaction"] == false)
        .map(|of| of["source"].as_str().unwrap())
        .collect();
    let want = ["part", "who", "instrument", "instrument/fixture", "rest"];
    assert_eq!(sources, want, "{told}");
    assert_eq!(told["sources"][3]["levels"], 6, "{told}");
}

/// Of hundred items each calls five bad, by chance: the interval then lies below the true kappa of 0 in most sets.
#[test]
fn an_interval_of_kappa_says_where_an_answer_is_rare() {
    let lines = (0..100).flat_map(|item| {
        let answer = |bad: bool| if bad { "bad" } else { "good" };
        let anna = answer(item % 20 == 0);
        let ben = answer(item % 20 == 9);
        [format!("{item},anna,{anna}"), format!("{item},ben,{ben}")]
    });
    let folder = file("of.csv", "part,appraiser,answer", lines);
    let text = folder.text(&["agreement", "--from", "of.csv", "--column", "answer"]);
    let rare = "; an answer is rare, so the upper end may be too low)";
    assert!(text.contains(rare), "{text}");
}

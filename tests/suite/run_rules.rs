//! How often each run rule raises an alert without drift, computed with the rules themselves: the table of
//! `docs/run-rules.md`.
//!
//! Exact counts where possible, otherwise many simulated runs of a centred process.

use crate::harness::every;
use tallyjaw::spec::alert::ALERTS;
use tallyjaw::spec::{AlertRule, Limits, Purpose};

const RUNS: u32 = 4_000;
const LENGTHS: [usize; 4] = [5, 10, 25, 100];
const HALF: i64 = 50_000; // of 1.62 ±0.05 mm
const NOMINAL: i64 = 1_620_000;

/// `SplitMix64`: the same numbers for ever.
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// Nearly normal: the sum of twelve uniform numbers has variance one.
    fn around(&mut self, centre: i64, spread: i64) -> i64 {
        let sum: i128 = (0..12).map(|_| i128::from(self.next() >> 32)).sum();
        let deviation = sum - (6_i128 << 32);
        centre + i64::try_from((deviation * i128::from(spread)) >> 32).unwrap()
    }
}

/// A stable process: name, standard deviation, and resolution.
struct Process {
    name: &'static str,
    spread: i64,
    count: i64,
}

const PROCESSES: [Process; 3] = [
    Process {
        name: "Cp = 1, no ties",
        spread: HALF / 3,
        count: 1,
    },
    Process {
        name: "Cp = 1, 10 steps",
        spread: HALF / 3,
        count: 10_000,
    },
    Process {
        name: "Cp = 4/3, 10 steps",
        spread: HALF / 4,
        count: 10_000,
    },
];

/// Number of `RUNS` runs of 100 pieces in which one of `rules` held by the end of each of `LENGTHS`.
fn simulated(process: &Process, rules: &[&AlertRule]) -> [u32; 4] {
    let limits: Limits = "1.62 ±0.05 mm".parse().unwrap();
    let mut random = Random(20_261_125);
    let mut alerted = [0; 4];
    for _ in 0..RUNS {
        let mut values = Vec::new();
        let first = (1..=LENGTHS[3]).find(|_| {
            let value = random.around(NOMINAL, process.spread);
            let shown = (value + process.count / 2).div_euclid(process.count) * process.count;
            values.push(shown);
            let from = values.len().saturating_sub(25);
            rules
                .iter()
                .any(|rule| (rule.holds)(&values[from..], &limits).is_some())
        });
        for (count, length) in alerted.iter_mut().zip(LENGTHS) {
            *count += u32::from(first.is_some_and(|first| first <= length));
        }
    }
    alerted
}

/// `3.4 %`
fn percent(count: u128, of: u128) -> String {
    let tenths = (count * 1000 + of / 2) / of;
    format!("{}.{} %", tenths / 10, tenths % 10)
}

#[test]
fn false_alarms_are_as_the_page_says() {
    let head =
        "| rule | process | in 5 pieces | in 10 | in 25 | in 100 |\n|---|---|---|---|---|---|\n";
    let mut rows = Vec::new();
    let each = ALERTS.iter().map(|rule| (rule.name, vec![*rule]));
    let all = (
        "default rules together",
        AlertRule::defaults(Purpose::FirstOff),
    );
    for (name, rules) in each.chain([all]) {
        let name = if rules.len() > 1 {
            name.to_owned()
        } else {
            format!("`{name}`")
        };
        rows.extend(
            PROCESSES
                .iter()
                .map(|process| (name.clone(), process, rules.clone())),
        );
    }
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/docs/run-rules.md");
    let page = std::fs::read_to_string(path).unwrap();
    assert!(page.contains(head), "the page wants these columns:\n{head}");
    for (name, process, rules) in rows.into_iter().step_by(every(4)) {
        let shares =
            simulated(process, &rules).map(|count| percent(u128::from(count), u128::from(RUNS)));
        let row = format!("| {name} | {} | {} |\n", process.name, shares.join(" | "));
        assert!(page.contains(&row), "the page wants this row:\n{row}");
    }
    for rule in ALERTS {
        assert!(page.contains(&format!("`{}`", rule.name)), "{}", rule.name);
    }
}

/// Number of the 2^`pieces` orders of above and below with eight in a row on one side.
fn eight_on_one_side(pieces: usize) -> u128 {
    let mut rows = [0_u128; 8]; // by the length of the last row; 0 is unused
    rows[1] = 2;
    let mut alerted = 0;
    for _ in 1..pieces {
        let mut next = [0; 8];
        alerted *= 2;
        for (length, count) in rows.iter().enumerate() {
            next[1] += count;
            if length == 7 {
                alerted += count;
            } else {
                next[length + 1] += count;
            }
        }
        next[1] -= rows[0];
        rows = next;
    }
    alerted
}

/// Number of orders of `pieces` different values in which six in a row rise or fall.
fn six_in_a_row(pieces: usize) -> u128 {
    // By rank of the last value, by length of the row it ends, and by direction.
    let mut without = vec![[[0_u128; 2]; 5]];
    without[0][0] = [1, 0];
    for size in 2..=pieces {
        let mut next = vec![[[0_u128; 2]; 5]; size];
        for (rank, rows) in without.iter().enumerate() {
            for (steps, ways) in rows.iter().enumerate() {
                for (way, count) in ways.iter().enumerate() {
                    for (new, place) in next.iter_mut().enumerate() {
                        let new_way = usize::from(new > rank);
                        let longer = if steps > 0 && way == new_way {
                            steps + 1
                        } else {
                            1
                        };
                        if longer < 5 {
                            place[longer][new_way] += count;
                        }
                    }
                }
            }
        }
        without = next;
    }
    let all: u128 = (1..=u128::try_from(pieces).unwrap()).product();
    let none: u128 = without.iter().flatten().flatten().sum();
    all - none
}

#[test]
fn made_up_runs_agree_with_exact_counts() {
    assert_eq!(eight_on_one_side(8), 2);
    assert_eq!(eight_on_one_side(9), 2 + 4);
    assert_eq!(six_in_a_row(6), 2);
    let near = |rule: &str, at: usize, count: u128, of: u128| {
        let rule = AlertRule::from_name(rule).unwrap();
        let got = u128::from(simulated(&PROCESSES[0], &[rule])[at]);
        let runs = u128::from(RUNS);
        // Within 1 % of all runs: more than two standard deviations of the likeliest of them.
        let (got, want) = (got * of, count * runs);
        assert!(
            got.abs_diff(want) * 100 <= runs * of,
            "{} in {}: got {}, want {}",
            rule.name,
            LENGTHS[at],
            percent(got, runs * of),
            percent(count, of)
        );
    };
    let orders = |pieces: u128| (1..=pieces).product::<u128>();
    for (at, pieces) in [(1, 10), (2, 25)] {
        let two = 1_u128 << pieces;
        near("eight_on_one_side", at, eight_on_one_side(pieces), two);
        let all = orders(u128::try_from(pieces).unwrap());
        near("six_in_a_row", at, six_in_a_row(pieces), all);
    }
}

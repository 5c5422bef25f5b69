//! How often the intervals of lines, variance components and kappa hold the truth, on readings rounded to one step: their
//! tables in `docs/coverage.md`, made as those of `holding`.

use super::holding::{assert_about, percent, print, sets};
use std::fmt::Write as _;
use tallyjaw::quantity::{Dimension, Quantity, Unit};
use tallyjaw::stats::agreement::fleiss;
use tallyjaw::stats::components::{Cell, Components, Factor};
use tallyjaw::stats::figures::whole;
use tallyjaw::stats::random::Random;
use tallyjaw::stats::regression::Regression;
use tallyjaw::stats::{Limits, Sample};

const HEIGHT_STEP: i64 = 10_000;
const FORCE_STEP: i64 = 1000;
/// Newtons per step of height.
const SLOPE: f64 = -1.0;
/// The lower limit, in newtons.
const LIMIT: f64 = 185.0;

fn counted(held: &mut u32, is: bool) {
    *held += u32::from(is);
}

/// The force of a piece, in newtons, at a height in steps from 1.50 mm.
fn line(height: f64) -> f64 {
    200.0 + SLOPE * height
}

/// A height anywhere in 17 whole steps.
fn height(random: &mut Random) -> f64 {
    17.0 * random.next_share() - 0.5
}

/// `n` pieces, each height and force rounded to a step; `sd` of the forces in newtons.
fn pieces(random: &mut Random, n: usize, sd: f64) -> Regression {
    let heights: Vec<f64> = (0..n).map(|_| height(random)).collect();
    let force = |height: &f64| FORCE_STEP * whole(line(*height) + sd * random.next_normal());
    let forces: Vec<i64> = heights.iter().map(force).collect();
    let heights = heights
        .iter()
        .map(|height| 1_500_000 + HEIGHT_STEP * whole(*height));
    let x = Sample::from_bases(heights.collect(), Unit::Millimetre).unwrap();
    let y = Sample::from_bases(forces, Unit::Newton).unwrap();
    let step = |dimension, base| Some(Quantity::from_base(dimension, base));
    Regression::new(
        x.with_step(step(Dimension::Length, HEIGHT_STEP)),
        y.with_step(step(Dimension::Force, FORCE_STEP)),
    )
    .unwrap()
}

/// The height that is read, in steps, at which 1 % of the pieces are below the limit, for `sd`. Pieces of one reading
/// differ by up to half a step in height.
fn border(sd: f64) -> f64 {
    let sd = (sd * sd + SLOPE * SLOPE / 12.0).sqrt();
    (LIMIT + 2.326_347_874_040_841 * sd - 200.0) / SLOPE
}

#[test]
fn lines_bands_and_ranges_hold_as_often_as_they_say() {
    let sets = sets(150);
    let mut random = Random::new(41);
    let mut page = String::from(
        "| pieces | sd, N | slope | line at an end | next piece | tolerance bound | range given | **range too wide** |\n|---|---|---|---|---|---|---|---|\n",
    );
    let lower = Limits {
        lower: Some(Quantity::from_base(
            Dimension::Force,
            whole(LIMIT) * FORCE_STEP,
        )),
        nominal: None,
        upper: None,
    };
    for n in [5, 10, 30, 100] {
        for sd in [1.0, 4.0] {
            let [mut slope, mut band, mut next, mut bound] = [0; 4];
            let [mut given, mut wide] = [0; 2];
            let at = 1.5 + 0.01 * border(sd);
            for _ in 0..sets {
                let of = pieces(&mut random, n, sd);
                let held = |(low, high): (f64, f64), truth: f64| low <= truth && truth <= high;
                counted(&mut slope, held(of.slope_bounds().unwrap(), 100.0 * SLOPE));
                counted(&mut band, held(of.line_bounds(1.64).unwrap(), line(14.0)));
                // The next piece is measured as the others were.
                let height = height(&mut random);
                let force = (line(height) + sd * random.next_normal()).round();
                let shown = 1.5 + 0.01 * height.round();
                counted(&mut next, held(of.single_bounds(shown).unwrap(), force));
                let holds = of.tolerance_bound(at).unwrap() <= LIMIT;
                counted(&mut bound, holds);
                if !of.grounds().iter().all(|ground| ground.holds) {
                    continue;
                }
                // Only a bound that fails at the border can give a range beyond it.
                counted(&mut given, of.tolerance_bound(1.5).unwrap() >= LIMIT);
                if !holds {
                    let range = of.against(lower).shown_range();
                    let end = whole(1_500_000.0 + 10_000.0 * border(sd));
                    counted(&mut wide, range.is_ok_and(|range| range.to > end));
                }
            }
            let share = |held: u32| percent(f64::from(held), sets);
            let _ = writeln!(
                page,
                "| {n} | {sd} | {:.1} % | {:.1} % | {:.1} % | {:.1} % | {:.1} % | **{:.1} %** |",
                share(slope),
                share(band),
                share(next),
                share(bound),
                share(given),
                share(wide)
            );
            assert!(
                share(slope) > 88.0 && share(bound) > 88.0,
                "{n} {sd}\n{page}"
            );
            assert!(share(wide) < 9.0, "{n} {sd}\n{page}");
        }
    }
    print(&page, sets);
}

/// The readings of one cell about a mean, in steps.
fn cell(random: &mut Random, levels: Vec<usize>, count: usize, mean: f64) -> Cell {
    let bases = (0..count).map(|_| HEIGHT_STEP * whole(162.0 + mean + random.next_normal()));
    let sample = Sample::from_bases(bases.collect(), Unit::Millimetre).unwrap();
    Cell {
        levels,
        readings: sample.summary().clone(),
    }
}

/// A plan of tools: its name, its cells, and its factors.
struct Plan {
    name: &'static str,
    /// Makes the cells with this number of tools.
    cells: fn(&mut Random, usize, f64) -> Vec<Cell>,
    factors: fn(usize) -> Vec<Factor>,
}

fn nested(random: &mut Random, tools: usize, sd: f64, count: impl Fn(usize) -> usize) -> Vec<Cell> {
    let mut cells = Vec::new();
    for tool in 0..tools {
        let of_tool = sd * random.next_normal();
        for nest in 0..2 {
            let of_nest = 0.5 * random.next_normal();
            let number = 2 * tool + nest;
            cells.push(cell(
                random,
                vec![tool, number],
                count(number),
                of_tool + of_nest,
            ));
        }
    }
    cells
}

const PLANS: [Plan; 3] = [
    Plan {
        name: "tools, two nests each, three pieces each",
        cells: |random, tools, sd| nested(random, tools, sd, |_| 3),
        factors: |tools| {
            vec![
                Factor::new("tool", None, tools),
                Factor::new("nest", Some("tool"), 2 * tools),
            ]
        },
    },
    Plan {
        name: "the same with one to five pieces",
        cells: |random, tools, sd| nested(random, tools, sd, |number| 1 + (number * 7) % 5),
        factors: |tools| {
            vec![
                Factor::new("tool", None, tools),
                Factor::new("nest", Some("tool"), 2 * tools),
            ]
        },
    },
    Plan {
        name: "tools by three persons, two pieces, every seventh missing",
        cells: |random, tools, sd| {
            let persons: Vec<f64> = (0..3).map(|_| 0.5 * random.next_normal()).collect();
            let mut cells = Vec::new();
            for tool in 0..tools {
                let of_tool = sd * random.next_normal();
                for (person, of_person) in persons.iter().enumerate() {
                    if (3 * tool + person) % 7 != 6 {
                        let mean = of_tool + of_person;
                        cells.push(cell(random, vec![tool, person], 2, mean));
                    }
                }
            }
            cells
        },
        factors: |tools| {
            vec![
                Factor::new("tool", None, tools),
                Factor::new("person", None, 3),
            ]
        },
    },
];

#[test]
fn intervals_of_components_hold_as_often_as_they_say() {
    let sets = sets(60);
    let mut random = Random::new(42);
    let mut page =
        String::from("| plan | tools | sd of tools | tool | rest |\n|---|---|---|---|---|\n");
    for plan in PLANS {
        for tools in [5, 10, 30] {
            for sd in [0.5, 2.0] {
                let [mut tool, mut rest] = [0; 2];
                for _ in 0..sets {
                    let cells = (plan.cells)(&mut random, tools, sd);
                    let of = Components::new(&cells, &(plan.factors)(tools), true).unwrap();
                    let held = |at: usize, truth: f64| {
                        let part = of.part(&of.sources[at], 0.95).unwrap();
                        part.low <= 0.01 * truth && 0.01 * truth <= part.high
                    };
                    // Rounding adds a twelfth of a square step to the rest.
                    counted(&mut tool, held(0, sd));
                    counted(
                        &mut rest,
                        held(of.sources.len() - 1, (1.0_f64 + 1.0 / 12.0).sqrt()),
                    );
                }
                let share = |held: u32| percent(f64::from(held), sets);
                let name = plan.name;
                let _ = writeln!(
                    page,
                    "| {name} | {tools} | {sd} | {:.1} % | {:.1} % |",
                    share(tool),
                    share(rest)
                );
                for held in [tool, rest] {
                    assert_about(&format!("{name} {tools}"), share(held), 84.0, sets);
                }
            }
        }
    }
    print(&page, sets);
}

/// The number of answers "good" of each item, and of the others: with a kappa of `kappa`.
fn looks(random: &mut Random, items: usize, people: u32, good: f64, kappa: f64) -> Vec<Vec<u32>> {
    let one = |_| {
        // With the chance kappa all answer alike, else each by himself: the same kappa by definition.
        let alike = random.next_share() < kappa;
        let first = random.next_share() < good;
        let yes = if alike {
            if first { people } else { 0 }
        } else {
            let answers = (1..people).map(|_| u32::from(random.next_share() < good));
            u32::from(first) + answers.sum::<u32>()
        };
        vec![yes, people - yes]
    };
    (0..items).map(one).collect()
}

#[test]
fn the_interval_of_kappa_holds_as_often_as_it_says() {
    let sets = sets(200);
    let mut random = Random::new(43);
    let mut page = String::from(
        "| items | persons | answered good | kappa | interval given | **holds kappa** |\n|---|---|---|---|---|---|\n",
    );
    for items in [5, 10, 30, 100] {
        for people in [2, 3] {
            for (good, kappa) in [(0.5, 0.6), (0.8, 0.6), (0.8, 0.8)] {
                let [mut given, mut held] = [0; 2];
                for _ in 0..sets {
                    let counts = looks(&mut random, items, people, good, kappa);
                    let found = fleiss(&counts, 0.95).and_then(|of| of.bounds);
                    if let Ok((low, high)) = found {
                        given += 1;
                        counted(&mut held, low <= kappa && kappa <= high);
                    }
                }
                let share = if given == 0 {
                    "–".to_owned()
                } else {
                    let share = percent(f64::from(held), given);
                    assert!(share > 86.0, "{items} {people} {good} {kappa}: {share}");
                    format!("**{share:.1} %**")
                };
                let _ = writeln!(
                    page,
                    "| {items} | {people} | {good} | {kappa} | {:.1} % | {share} |",
                    percent(f64::from(given), sets)
                );
            }
        }
    }
    print(&page, sets);
}

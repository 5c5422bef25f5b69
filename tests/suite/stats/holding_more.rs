//! How often Cohen's kappa, expanded gauge studies, components of many levels and planned gauge studies hold what they say,
//! on readings rounded to one step: their tables in `docs/coverage.md`, made as those of `holding`.

use super::holding::{percent, print, sets};
use std::collections::BTreeMap;
use std::fmt::Write as _;
use tallyjaw::quantity::Unit;
use tallyjaw::stats::Sample;
use tallyjaw::stats::agreement::cohen;
use tallyjaw::stats::components::{Cell, Components, Factor};
use tallyjaw::stats::figures::whole;
use tallyjaw::stats::gauge::{Bounds, Plan, Trial, by_anova, expanded};
use tallyjaw::stats::planning::{Gauge, Question};
use tallyjaw::stats::random::Random;

/// A step of the display, in base units.
const STEP: i64 = 10_000;

fn inside((low, high): (f64, f64), truth: f64) -> u32 {
    u32::from(low <= truth && truth <= high)
}

fn share(held: u32, sets: u32) -> String {
    if sets == 0 {
        return "–".to_owned();
    }
    format!("{:.1} %", percent(f64::from(held), sets))
}

/// Answers of two about an item: with the chance kappa both give one answer, otherwise each his own.
fn looked(random: &mut Random, good: f64, kappa: f64) -> (usize, usize) {
    let answer = |random: &mut Random| usize::from(random.next_share() >= good);
    let alike = random.next_share() < kappa;
    let first = answer(random);
    (first, if alike { first } else { answer(random) })
}

#[test]
fn the_interval_of_cohens_kappa_holds_as_often_as_it_says() {
    let sets = sets(200);
    let mut random = Random::new(1960);
    let mut page = String::from(
        "| items | answered good | kappa | interval given | holds kappa | lower bound above a kappa of it |\n|---|---|---|---|---|---|\n",
    );
    for items in [5, 10, 30, 100] {
        for (good, kappa) in [
            (0.5, 0.0),
            (0.5, 0.6),
            (0.8, 0.0),
            (0.8, 0.8),
            (0.95, 0.0),
            (0.95, 0.8),
        ] {
            let [mut given, mut held, mut above] = [0; 3];
            for _ in 0..sets {
                let pairs: Vec<(usize, usize)> = (0..items)
                    .map(|_| looked(&mut random, good, kappa))
                    .collect();
                let found = cohen(&pairs, 2, 0.95).and_then(|of| of.bounds);
                if let Ok(bounds) = found {
                    given += 1;
                    held += inside(bounds, kappa);
                    above += u32::from(bounds.0 > kappa);
                }
            }
            let _ = writeln!(
                page,
                "| {items} | {good} | {kappa} | {} | {} | {} |",
                share(given, sets),
                share(held, given),
                share(above, given)
            );
            let low = percent(f64::from(above), sets);
            assert!(low < 6.5, "{items} {good} {kappa}: {low}\n{page}");
        }
    }
    print(&page, sets);
}

/// The standard deviations of an expanded gauge study, in steps.
#[derive(Debug, Clone, Copy)]
struct Spreads {
    part: f64,
    person: f64,
    instrument: f64,
    rest: f64,
}

/// Parts by three persons by two instruments, twice each; the readings of each cell. `every` leaves one reading of so many out.
fn measured(random: &mut Random, parts: usize, of: Spreads, every: Option<usize>) -> Vec<Cell> {
    let mut draw = |sd: f64, count: usize| -> Vec<f64> {
        (0..count).map(|_| sd * random.next_normal()).collect()
    };
    let of_part = draw(of.part, parts);
    let (of_person, of_instrument) = (draw(of.person, 3), draw(of.instrument, 2));
    let mut cells: BTreeMap<Vec<usize>, Vec<i64>> = BTreeMap::new();
    let mut count = 0;
    for (part, a) in of_part.iter().enumerate() {
        for (person, b) in of_person.iter().enumerate() {
            for (instrument, c) in of_instrument.iter().enumerate() {
                for noise in draw(of.rest, 2) {
                    count += 1;
                    if every.is_some_and(|every| count % every == 0) {
                        continue;
                    }
                    let cell = cells.entry(vec![part, person, instrument]).or_default();
                    cell.push(STEP * whole(162.0 + a + b + c + noise));
                }
            }
        }
    }
    let cells = cells.into_iter().map(|(levels, bases)| {
        let sample = Sample::from_bases(bases, Unit::Millimetre).unwrap();
        Cell {
            levels,
            readings: sample.summary().clone(),
        }
    });
    cells.collect()
}

#[test]
fn bounds_of_expanded_gauge_studies_hold_as_often_as_they_say() {
    let all = sets(15);
    let mut random = Random::new(1990);
    let mut page = String::from(
        "| plan | parts | sets | sd of persons | EV | AV | GRR | PV |\n|---|---|---|---|---|---|---|---|\n",
    );
    for (words, every) in [("complete", None), ("every seventh missing", Some(7))] {
        for parts in [5, 10, 30, 100] {
            // A fit of a hundred parts has six hundred columns.
            let sets = if parts == 100 { all / 20 } else { all };
            for person in [0.5, 2.0] {
                let of = Spreads {
                    part: 5.0,
                    person,
                    instrument: 1.0,
                    rest: 1.0,
                };
                let ev = (1.0_f64 + 1.0 / 12.0).sqrt();
                let av = person.hypot(1.0);
                let truth = [ev, av, ev.hypot(av), 5.0].map(|sd| 0.01 * sd);
                let factors = [
                    Factor::new("part", None, parts),
                    Factor::new("person", None, 3),
                    Factor::new("instrument", None, 2),
                ];
                let mut held = [0; 4];
                for _ in 0..sets {
                    let cells = measured(&mut random, parts, of, every);
                    let found = Components::new(&cells, &factors, true).unwrap();
                    let study = expanded(&found, |source| source == "part").unwrap();
                    let Bounds { ev, av, grr, pv } = study.bounds.unwrap();
                    for ((held, bounds), truth) in held.iter_mut().zip([ev, av, grr, pv]).zip(truth)
                    {
                        *held += inside(bounds, truth);
                    }
                }
                let cells = held.map(|held| format!(" {} |", share(held, sets)));
                let _ = writeln!(
                    page,
                    "| {words} | {parts} | {sets} | {person} |{}",
                    cells.concat()
                );
                let low = held.iter().min().copied().unwrap_or_default();
                assert!(
                    sets < 10 || percent(f64::from(low), sets) > 60.0,
                    "{words} {parts}\n{page}"
                );
            }
        }
    }
    print(&page, all);
}

/// Components of tools, of nests within them and of persons: how often each interval holds, with a hundred tools too.
#[test]
fn components_of_many_levels_hold_as_often_as_they_say() {
    let all = sets(20);
    let mut random = Random::new(1992);
    let mut page = String::from(
        "| plan | levels of the first | sets | first | second | rest |\n|---|---|---|---|---|---|\n",
    );
    for crossed in [false, true] {
        for tools in [5, 10, 30, 100] {
            let sets = if tools == 100 { all / 10 } else { all };
            let mut held = [0; 3];
            for _ in 0..sets {
                let mut cells = Vec::new();
                let persons: Vec<f64> = (0..5).map(|_| random.next_normal()).collect();
                for tool in 0..tools {
                    let own = 2.0 * random.next_normal();
                    for (at, person) in persons.iter().enumerate() {
                        let beside = if crossed {
                            *person
                        } else {
                            random.next_normal()
                        };
                        let second = if crossed { at } else { 5 * tool + at };
                        let reading = |_| {
                            let value = 162.0 + own + beside + random.next_normal();
                            STEP * whole(value)
                        };
                        let bases: Vec<i64> = (0..2).map(reading).collect();
                        let sample = Sample::from_bases(bases, Unit::Millimetre).unwrap();
                        cells.push(Cell {
                            levels: vec![tool, second],
                            readings: sample.summary().clone(),
                        });
                    }
                }
                let factors = if crossed {
                    [
                        Factor::new("tool", None, tools),
                        Factor::new("person", None, 5),
                    ]
                } else {
                    [
                        Factor::new("tool", None, tools),
                        Factor::new("nest", Some("tool"), 5 * tools),
                    ]
                };
                let found = Components::new(&cells, &factors, true).unwrap();
                let last = found.sources.len() - 1;
                let truths = [(0, 2.0), (1, 1.0), (last, (1.0_f64 + 1.0 / 12.0).sqrt())];
                for (held, (at, truth)) in held.iter_mut().zip(truths) {
                    let part = found.part(&found.sources[at], 0.95).unwrap();
                    *held += inside((part.low, part.high), 0.01 * truth);
                }
            }
            let words = if crossed {
                "tools by five persons"
            } else {
                "tools, five nests each"
            };
            let cells = held.map(|held| format!(" {} |", share(held, sets)));
            let _ = writeln!(page, "| {words} | {tools} | {sets} |{}", cells.concat());
            let low = held.iter().min().copied().unwrap_or_default();
            assert!(
                sets < 10 || percent(f64::from(low), sets) > 65.0,
                "{words} {tools}\n{page}"
            );
        }
    }
    print(&page, all);
}

/// Whether a gauge study of these parts shows that GRR takes at most the share of the tolerance; a tenth of the variance of
/// the measurement is that of the five persons, and the parts spread over ten steps.
fn shown(random: &mut Random, parts: usize, sd: f64, required: f64, truth: f64) -> bool {
    let (persons, trials) = (5, 3);
    let of_person: Vec<f64> = (0..persons)
        .map(|_| sd * 0.1_f64.sqrt() * random.next_normal())
        .collect();
    let of_part: Vec<f64> = (0..parts).map(|_| 10.0 * random.next_share()).collect();
    let mut readings = Vec::new();
    for (part, own) in of_part.iter().enumerate() {
        for (person, off) in of_person.iter().enumerate() {
            for _ in 0..trials {
                let value = 162.0 + own + off + sd * 0.9_f64.sqrt() * random.next_normal();
                readings.push(Trial {
                    part: part.to_string(),
                    appraiser: person.to_string(),
                    base: STEP * whole(value),
                });
            }
        }
    }
    let plan = Plan::new(&readings, Unit::Millimetre).unwrap();
    let Ok((_, study)) = by_anova(&plan, None) else {
        return false;
    };
    // The true GRR is this share of the tolerance.
    let width = 6.0 * 0.01 * sd / truth;
    6.0 * study.bounds.unwrap().grr.1 / width <= required
}

#[test]
fn planned_gauge_studies_show_their_claim_as_often_as_computed() {
    let all = sets(40);
    let mut random = Random::new(1994);
    let mut page = String::from(
        "| parts | true GRR, share of the tolerance | computed | sd 0.5 steps | 1 | 2 | 4 |\n|---|---|---|---|---|---|---|\n",
    );
    for parts in [5, 10, 30, 100] {
        for truth in [0.15, 0.2] {
            let plan = Gauge {
                required: 0.3,
                truth,
                of_appraisers: 0.1,
                appraisers: 5,
                trials: 3,
                confidence: 0.95,
            };
            let computed = 100.0 * plan.power(u64::try_from(parts).unwrap(), truth).unwrap();
            let _ = write!(page, "| {parts} | {truth} | {computed:.1} % |");
            for sd in [0.5, 1.0, 2.0, 4.0] {
                let found = (0..all).filter(|_| shown(&mut random, parts, sd, 0.3, truth));
                let found = percent(f64::from(u32::try_from(found.count()).unwrap()), all);
                let _ = write!(page, " {found:.1} % |");
                let error = 100.0 * (0.25 / f64::from(all)).sqrt();
                assert!(
                    sd < 4.0 || (found - computed).abs() < 4.0 * error + 12.0,
                    "{parts} {truth}: {found}\n{page}"
                );
            }
            page.push('\n');
        }
    }
    print(&page, all);
}

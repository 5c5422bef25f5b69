//! What may happen at the two stations, and doing it.

use super::super::desk::{HEIGHT, WIDTH, crimps, plan};
use super::following;
use super::shop::{CATALOGS, INSTRUMENTS, LENGTHS, PEDALS, SCANNERS, STATIONS, STREAMING, Shop};
use proptest::prelude::*;
use proptest::sample::select;
use std::time::Duration;
use tallyjaw::entry::{Answer, Entry, Gap, Means, Seq};
use tallyjaw::quantity::{Length, WallMicros};
use tallyjaw::spec::{
    AxisName, Decision, Look, LooksPer, Order, Plan, PullMode, Purpose, Questions, ZeroPolicy,
};
use tallyjaw::station::{Armable, Command, Input};

#[derive(Debug, Clone)]
pub(crate) enum Act {
    /// A frame, this long after the act before it.
    Frame {
        after_millis: u64,
        instrument: &'static str,
        text: String,
    },
    /// The operator does what the prompt says, with a good piece or one that is off by this number of counts.
    Follow {
        station: &'static str,
        off: i64,
    },
    /// Two good zeros, by which an operator retracts the last reading.
    ZeroTwice,
    /// The last reading is retracted, and perhaps restored.
    Slip {
        station: &'static str,
        is_undone: bool,
    },
    /// A crimp is pulled apart, and its reading retracted for a reason.
    Pull,
    /// The jaws close on a chip: zeros that are off by these hundredths, then a good zero.
    ZeroOff {
        instrument: &'static str,
        off: Vec<i64>,
        good_after: bool,
    },
    /// The open series is stopped by another arming, and resumed perhaps after a zero.
    Cut {
        station: &'static str,
        zero: Option<&'static str>,
    },
    /// Jaws that come from afar and stand still, a frame every 100 ms.
    Stand {
        at: i64,
        frames: u8,
        flicker: bool,
    },
    Bytes {
        name: &'static str,
        bytes: Vec<u8>,
        how: Line,
    },
    Wait {
        millis: u64,
    },
    StepClock {
        seconds: i64,
    },
    Card {
        scanner: &'static str,
        text: String,
    },
    Pedal {
        pedal: &'static str,
        by_contact: bool,
    },
    Say {
        station: Option<&'static str>,
        what: Saying,
    },
    Unplug(&'static str),
    Plug(&'static str),
    NewSegment,
    Gap,
    Reload(usize),
    Stop {
        off_seconds: u64,
    },
    Kill {
        lost: usize,
        off_seconds: u64,
    },
}

/// How bytes come.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Line {
    Sound,
    Spoiled,
    Stale,
}

#[derive(Debug, Clone)]
pub(crate) enum Saying {
    Arm(Box<Plan>, bool),
    ArmNamed(&'static str),
    Resume,
    Disarm,
    /// The reading so many entries back, for this reason.
    Retract(Option<usize>, Option<&'static str>),
    Restore,
    /// A visual check of this number, of this piece, is answered.
    Look(u32, Option<u32>, Answer),
    /// How the pull of this piece failed.
    Pulled(Option<u32>, PullMode),
    Note(&'static str),
    Zero(Option<&'static str>),
    Ask(Option<&'static str>),
}

/// Everything that may happen.
pub(crate) fn act() -> impl Strategy<Value = Act> {
    prop_oneof![
        80 => bench_act(),
        1 => (0..CATALOGS.len()).prop_map(Act::Reload),
    ]
}

/// Everything but another configuration.
pub(crate) fn bench_act() -> impl Strategy<Value = Act> {
    prop_oneof![
        24 => (select(&STATIONS[..]), prop_oneof![5 => -6i64..7, 1 => -40i64..41])
            .prop_map(|(station, off)| Act::Follow { station, off }),
        12 => frame(),
        2 => Just(Act::ZeroTwice),
        3 => (select(&STATIONS[..]), any::<bool>())
            .prop_map(|(station, is_undone)| Act::Slip { station, is_undone }),
        1 => Just(Act::Pull),
        4 => off_zero(),
        2 => (select(&STATIONS[..]), select(vec![None, Some("+0.00"), Some("+0.02"), Some("+1.62")]))
            .prop_map(|(station, zero)| Act::Cut { station, zero }),
        5 => (near_something(), 1u8..12, any::<bool>())
            .prop_map(|(at, frames, flicker)| Act::Stand { at, frames, flicker }),
        1 => bytes(),
        1 => (0u64..4_000_000).prop_map(|millis| Act::Wait { millis }),
        1 => (-7_200i64..7_200).prop_filter("slewing is no step", |by| by.abs() > 1)
            .prop_map(|seconds| Act::StepClock { seconds }),
        3 => (select(&SCANNERS[..]), card()).prop_map(|(scanner, text)| Act::Card { scanner, text }),
        2 => (select(&PEDALS[..]), any::<bool>())
            .prop_map(|(pedal, by_contact)| Act::Pedal { pedal, by_contact }),
        6 => (prop::option::weighted(0.9, select(&STATIONS[..])), saying())
            .prop_map(|(station, what)| Act::Say { station, what }),
        1 => select(&INSTRUMENTS[..]).prop_map(Act::Unplug),
        2 => select(&INSTRUMENTS[..]).prop_map(Act::Plug),
        2 => prop_oneof![3 => Just(Act::NewSegment), 1 => Just(Act::Gap)],
        1 => prop_oneof![
            1 => (0u64..4_000).prop_map(|off_seconds| Act::Stop { off_seconds }),
            3 => (0usize..4, 0u64..4_000)
                .prop_map(|(lost, off_seconds)| Act::Kill { lost, off_seconds }),
        ],
    ]
}

/// A chip between the jaws is seen once, or twice within ten seconds; then they are cleaned, or are not.
pub(crate) fn off_zero() -> impl Strategy<Value = Act> {
    let instrument = select(&LENGTHS[..]);
    let shown = || prop_oneof![6 => 3i64..51, 3 => -50i64..-2, 1 => select(&[2i64, -2, 51, 64, 65, -51][..])];
    let off = prop_oneof![
        3 => prop::collection::vec(shown(), 1..3),
        2 => shown().prop_map(|off| vec![off, off]),
        1 => shown().prop_map(|off| vec![off, off + 1, off]),
    ];
    (instrument, off, any::<bool>()).prop_map(|(instrument, off, good_after)| Act::ZeroOff {
        instrument,
        off,
        good_after,
    })
}

fn frame() -> impl Strategy<Value = Act> {
    let instrument =
        prop_oneof![5 => Just("caliper-1"), 2 => Just("gauge-1"), 2 => Just("caliper-3")];
    let after = prop_oneof![4 => Just(1_000u64), 1 => 0u64..3_000];
    (after, instrument, near_something(), near_force()).prop_map(
        |(after_millis, instrument, length, force)| Act::Frame {
            after_millis,
            instrument,
            text: if instrument == "gauge-1" {
                force.to_string()
            } else {
                hundredths(length)
            },
        },
    )
}

/// A length in hundredths of a millimetre: a height, a width, a bellmouth, a zero, or anything.
fn near_something() -> impl Strategy<Value = i64> {
    prop_oneof![
        4 => 155i64..170,
        4 => 228i64..252,
        5 => -1i64..2,
        1 => -4i64..5,
        1 => 8i64..42,
        1 => 0i64..20_000,
    ]
}

fn near_force() -> impl Strategy<Value = i64> {
    prop_oneof![3 => 170i64..200, 3 => -1i64..2, 1 => -5i64..2_000]
}

fn bytes() -> impl Strategy<Value = Act> {
    let names: Vec<&'static str> = INSTRUMENTS.into_iter().chain(SCANNERS).collect();
    let how = prop_oneof![
        3 => Just(Line::Sound),
        1 => Just(Line::Spoiled),
        1 => Just(Line::Stale),
    ];
    (
        select(names),
        prop::collection::vec(any::<u8>(), 0..12),
        how,
    )
        .prop_map(|(name, bytes, how)| Act::Bytes { name, bytes, how })
}

fn card() -> impl Strategy<Value = String> {
    let right = select(vec![
        "tj/arm/pump-own",
        "tj/arm/pump-ref",
        "tj/disarm",
        "tj/retract",
        "tj/retract/slipped in the grips",
        "tj/restore",
        "tj/resume",
        "tj/zero",
        "tj/ask",
        "tj/note/strands nicked",
        "tj/operator/Ada",
        "tj/operator/Ben",
        "tj/tool/T-07",
        "tj/tool/R-02",
        "tj/tool/T-07/2.0",
        "tj/look/1/good",
        "tj/look/2/bad",
        "tj/pulled/pulled_out",
    ]);
    let wrong = select(vec![
        "4006381333931",
        "tj/arm/pump-owm",
        "tj/arm",
        "TJ/ARM/pump-own",
        "tj/tool/X-99",
        "tj/tool/T-07/9",
        "tj/dance",
        "tj/note/",
        "+1.62",
        "",
    ]);
    prop_oneof![6 => right.prop_map(str::to_owned), 1 => wrong.prop_map(str::to_owned),
        1 => ".{0,20}".prop_filter("a card is a line", |text: &String| !text.contains(['\r', '\n']))]
}

fn saying() -> impl Strategy<Value = Saying> {
    let instrument = || prop::option::of(select(&INSTRUMENTS[..]));
    prop_oneof![
        6 => (any_plan(), prop::bool::weighted(0.7))
            .prop_map(|(plan, cut)| Saying::Arm(Box::new(plan), cut)),
        2 => Just(Saying::Resume),
        1 => select(vec!["pump-own", "pump-ref", "pump-owm"]).prop_map(Saying::ArmNamed),
        1 => Just(Saying::Disarm),
        3 => (prop::option::of(0usize..12), select(vec![None, Some("slipped"), Some(" ")]))
            .prop_map(|(back, reason)| Saying::Retract(back, reason)),
        3 => Just(Saying::Restore),
        4 => (1u32..4, prop::option::of(0u32..5), select(&Answer::ALL[..]))
            .prop_map(|(look, piece, answer)| Saying::Look(look, piece, answer)),
        2 => (prop::option::of(0u32..5), select(&PullMode::ALL[..]))
            .prop_map(|(piece, mode)| Saying::Pulled(piece, mode)),
        1 => select(vec!["strands nicked", " "]).prop_map(Saying::Note),
        3 => instrument().prop_map(Saying::Zero),
        1 => instrument().prop_map(Saying::Ask),
    ]
}

/// Any plan that is armed with success more often than not.
pub(crate) fn arming() -> impl Strategy<Value = Saying> {
    (any_plan(), prop::bool::weighted(0.7)).prop_map(|(plan, cut)| Saying::Arm(Box::new(plan), cut))
}

fn any_plan() -> impl Strategy<Value = Plan> {
    let axes = select(vec![
        vec![HEIGHT],
        vec![HEIGHT],
        vec![HEIGHT, WIDTH],
        vec![HEIGHT, WIDTH],
        vec![WIDTH, HEIGHT],
        vec!["bellmouth", HEIGHT],
        vec!["pull_force"],
        vec!["pull_force"],
        vec!["pull_force"],
        vec![HEIGHT, "pull_force"],
        vec!["strip_length"],
        vec![],
    ]);
    let wire = select(vec!["2.0 mm²", "2.0 mm²", "2.0 mm²", "5.0 mm²", "9 mm²"]);
    let tool = select(vec![
        (Some("T-07"), Some("2.0")),
        (Some("T-07"), Some("2.0")),
        (Some("R-02"), Some("5.0")),
        (None, None),
    ]);
    let decision = select(vec![
        Decision::Simple,
        Decision::Guarded {
            factor_milli: 1_645,
        },
    ]);
    let order = select(Order::ALL.to_vec());
    let purpose = select(vec![
        Purpose::FirstOff,
        Purpose::InProcess,
        Purpose::Reference,
    ]);
    (
        axes,
        wire,
        tool,
        decision,
        order,
        purpose,
        1u32..4,
        policy(),
        (any::<bool>(), questions()),
    )
        .prop_map(
            |(
                axes,
                wire,
                (tool, nest),
                decision,
                order,
                purpose,
                pieces,
                zero,
                (repeat, questions),
            )| Plan {
                axes: axes.into_iter().map(AxisName::new).collect(),
                subject: crimps("QF-250-F", wire),
                tool: tool.map(str::to_owned),
                nest: nest.map(str::to_owned),
                decision,
                order,
                purpose,
                pieces,
                zero,
                questions,
                repeat,
                ..plan()
            },
        )
}

/// `None` more often than a value.
fn questions() -> impl Strategy<Value = Questions> {
    let look = |name| Look::customary(name).unwrap();
    let looks = select(vec![
        vec![],
        vec![],
        vec![look("strands_in")],
        vec![
            look("strands_in"),
            Look::of_its_own("Is the label on?".to_owned()),
        ],
    ]);
    let per = select(&LooksPer::ALL[..]);
    (looks, per, any::<bool>()).prop_map(|(looks, looks_per, pull_mode)| Questions {
        // How often nothing is asked is not kept.
        looks_per: if looks.is_empty() {
            LooksPer::Piece
        } else {
            looks_per
        },
        looks,
        pull_mode,
    })
}

/// Every policy that can be asked for.
fn policy() -> impl Strategy<Value = ZeroPolicy> {
    let every = prop::option::weighted(0.3, (10u64..4_000).prop_map(Duration::from_secs));
    let pieces = prop::option::weighted(0.3, 1u32..3);
    let counts = prop_oneof![3 => Just((2u32, 1u32)), 1 => (0u32..5, 0u32..4)];
    let flags = (any::<bool>(), any::<bool>(), any::<bool>());
    let attempt = prop_oneof![4 => Just(50i64), 1 => 1i64..400];
    (flags, every, pieces, counts, attempt).prop_map(
        |(
            (before_first, closing, double_retracts),
            every,
            every_pieces,
            (band_counts, limit_counts),
            attempt,
        )| ZeroPolicy {
            before_first,
            closing,
            double_retracts,
            every,
            every_pieces,
            band_counts,
            limit_counts,
            attempt: Length::from_nanometres(attempt * 10_000),
        },
    )
}

pub(crate) fn hundredths(value: i64) -> String {
    let sign = if value < 0 { '-' } else { '+' };
    format!("{sign}{}.{:02}", value.abs() / 100, value.abs() % 100)
}

pub(crate) fn run(shop: &mut Shop, act: Act) {
    match act {
        Act::Frame {
            after_millis,
            instrument,
            text,
        } => {
            shop.wait(Duration::from_millis(after_millis));
            shop.send(instrument, &text);
        }
        Act::ZeroTwice => {
            for _ in 0..2 {
                shop.wait(Duration::from_millis(700));
                shop.send("caliper-1", "+0.00");
            }
        }
        Act::Cut { station, zero } => {
            let other = Plan {
                pieces: 2,
                ..plan()
            };
            say(shop, Some(station), Saying::Arm(Box::new(other), true));
            if let Some(zero) = zero {
                shop.wait(Duration::from_secs(1));
                shop.send("caliper-1", zero);
            }
            say(shop, Some(station), Saying::Resume);
        }
        Act::Slip { station, is_undone } => {
            say(shop, Some(station), Saying::Retract(None, Some("slipped")));
            if is_undone {
                say(shop, Some(station), Saying::Restore);
            }
        }
        Act::Pull => {
            let plan = Plan {
                axes: vec![AxisName::new("pull_force")],
                ..plan()
            };
            let station = Some(STATIONS[0]);
            say(shop, station, Saying::Arm(Box::new(plan), true));
            for value in [0, 190] {
                following::show(shop, "gauge-1", value);
            }
            say(shop, station, Saying::Retract(None, Some("slipped")));
        }
        Act::ZeroOff {
            instrument,
            off,
            good_after,
        } => {
            for off in off.into_iter().chain(good_after.then_some(0)) {
                following::show(shop, instrument, off);
            }
        }
        Act::Follow { station, off } => following::one_step(shop, station, off),
        Act::Stand {
            at,
            frames,
            flicker,
        } => stand(shop, at, frames, flicker),
        Act::Bytes { name, bytes, how } => {
            let (instrument, bytes) = (name, &bytes[..]);
            shop.input(match how {
                Line::Sound => Input::Bytes { instrument, bytes },
                Line::Spoiled => Input::Spoiled { instrument, bytes },
                Line::Stale => Input::Stale { instrument, bytes },
            });
        }
        Act::Wait { millis } => shop.wait(Duration::from_millis(millis)),
        Act::StepClock { seconds } => shop.step_clock(seconds * 1_000_000),
        Act::Card { scanner, text } => {
            shop.wait(Duration::from_secs(1));
            shop.send(scanner, &text);
        }
        Act::Pedal { pedal, by_contact } => press_pedal(shop, pedal, by_contact),
        Act::Say { station, what } => say(shop, station, what),
        Act::Unplug(instrument) => shop.input(Input::PortClosed {
            instrument,
            reason: "unplugged",
        }),
        Act::Plug(name) => shop.plug(name),
        Act::NewSegment => shop.input(Input::SegmentFull),
        Act::Gap => shop.input(Input::Journal(Entry::from(Gap {
            since: WallMicros(1_764_000_000_000_000),
            frames: 3,
            reason: "no space left on the device".to_owned(),
        }))),
        Act::Reload(catalog) => shop.reload(&CATALOGS[catalog]),
        Act::Stop { off_seconds } => shop.stop_and_start(Duration::from_secs(off_seconds)),
        Act::Kill { lost, off_seconds } => {
            shop.kill_and_start(lost, Duration::from_secs(off_seconds));
        }
    }
}

/// The jaws of the streaming caliper come from afar, and stand at `at`.
pub(crate) fn stand(shop: &mut Shop, at: i64, frames: u8, flicker: bool) {
    for _ in 0..2 {
        shop.wait(Duration::from_millis(300));
        shop.send(STREAMING, &hundredths(4_500));
    }
    shop.wait(Duration::from_millis(300));
    for frame in 0..frames {
        let by = i64::from(flicker && frame % 2 == 1);
        shop.send(STREAMING, &hundredths(at + by));
        shop.wait(Duration::from_millis(100));
    }
}

fn press_pedal(shop: &mut Shop, instrument: &'static str, by_contact: bool) {
    shop.wait(Duration::from_millis(500));
    if by_contact {
        for closed in [true, false] {
            shop.input(Input::Contact { instrument, closed });
            shop.wait(Duration::from_millis(100));
        }
    } else {
        shop.input(Input::Bytes {
            instrument,
            bytes: b"\0",
        });
    }
}

/// Whether it is refused or not, the auditor checks the result.
fn say(shop: &mut Shop, station: Option<&str>, what: Saying) {
    let station = station.map(str::to_owned);
    let command = match what {
        Saying::Resume => Command::Resume {
            station,
            by: Means::Command,
        },
        Saying::Arm(plan, cut) => Command::Arm {
            cut,
            station,
            what: Armable::Inline(plan),
            operator: None,
        },
        Saying::ArmNamed(id) => Command::Arm {
            cut: false,
            station,
            what: Armable::Named(id.to_owned()),
            operator: Some("Ada".to_owned()),
        },
        Saying::Disarm => Command::Disarm { station },
        Saying::Restore => Command::Restore {
            station,
            by: Means::Command,
        },
        Saying::Look(look, piece, answer) => Command::Look {
            station,
            look,
            piece,
            answer,
            by: Means::Command,
        },
        Saying::Pulled(piece, mode) => Command::Pulled {
            station,
            piece,
            mode,
            by: Means::Command,
        },
        Saying::Retract(back, reason) => {
            let last = shop.entries.last().map_or(0, |last| last.seq.0);
            let back = back.map(|back| u64::try_from(back).unwrap());
            Command::Retract {
                station,
                seq: back.map(|back| Seq(last.saturating_sub(back))),
                reason: reason.map(str::to_owned),
                by: Means::Command,
            }
        }
        Saying::Note(text) => Command::Note {
            station,
            text: text.to_owned(),
        },
        Saying::Zero(instrument) => Command::Zero {
            station,
            instrument: instrument.map(str::to_owned),
        },
        Saying::Ask(instrument) => Command::Ask {
            station,
            instrument: instrument.map(str::to_owned),
        },
    };
    drop(shop.command(command));
}

//! What is found out about an instrument from bytes that were read with any setting of the port.
//!
//! The bytes are those that a receiver at the port's setting gets from the sender's levels. The virtual caliper's
//! `line` computes them bit by bit, independently of the tested code.

use crate::harness::cases;
use proptest::prelude::*;
use std::fmt::Write as _;
use std::time::Duration;
use tallyjaw::decode::format::Ticks;
use tallyjaw::decode::guess::{Chunk, Heard, Interview, Opinion, Step, Surety, Watcher, opinion};
use tallyjaw::decode::{FrameFormat, LineSettings};
use tallyjaw::quantity::{Decimal, MonoMicros, Unit};
use tallyjaw::serial::{ByteRun, Marks};
use tallyjaw::virtual_caliper::line::{Heard as Character, heard, on_terminal};
use tallyjaw::virtual_caliper::{Form, Sends};

/// What a technician may press first: any size.
const SIZES: [i64; 5] = [163, 1250, 0, 4207, 38];

pub(crate) const FORMATS: [(&str, Sends); 8] = [
    ("decimal-line", Sends::DecimalLine { with_unit: false }),
    ("channel-line", Sends::ChannelLine { channel: 1 }),
    ("bcd13-hex", Sends::Bcd13(Form::Hex)),
    ("bcd13-packed", Sends::Bcd13(Form::Packed)),
    ("word24-hex", Sends::Word24(Form::Hex)),
    ("word24-packed", Sends::Word24(Form::Packed)),
    (
        "word48-hex",
        Sends::Word48 {
            form: Form::Hex,
            origin: Ticks(0),
        },
    ),
    (
        "word48-packed",
        Sends::Word48 {
            form: Form::Packed,
            origin: Ticks(-911),
        },
    ),
];

fn line(text: &str) -> LineSettings {
    text.parse().unwrap()
}

pub(crate) fn frame(sends: Sends, press: usize) -> Vec<u8> {
    let digits = Decimal::new(SIZES[press % SIZES.len()], 2);
    sends.frame(digits, Unit::Millimetre).unwrap()
}

fn press(number: usize, sent_bytes: &[u8], sent: LineSettings, port: LineSettings) -> Heard {
    press_of(number, port, &heard(sent_bytes, sent, port))
}

/// As [`press`], with a driver that marks no errors.
fn unmarked(number: usize, sent_bytes: &[u8], sent: LineSettings, port: LineSettings) -> Heard {
    let mut characters = heard(sent_bytes, sent, port);
    for character in &mut characters {
        character.fault = None;
    }
    press_of(number, port, &characters)
}

fn press_of(number: usize, port: LineSettings, characters: &[Character]) -> Heard {
    let number = u32::try_from(number).unwrap();
    let at = MonoMicros(0).plus(Duration::from_secs(2) * number);
    let runs = Marks::default().take(&on_terminal(characters));
    let chunk = |run: &ByteRun| Chunk {
        at,
        bytes: run.bytes().to_vec(),
        spoiled: matches!(run, ByteRun::Spoiled(_)),
    };
    Heard {
        line: port,
        chunks: runs.iter().map(chunk).collect(),
    }
}

/// Presses a caliper until the interview is done.
fn interview(sends: Sends, sent: LineSettings) -> Interview {
    let mut interview = Interview::new(LineSettings::default(), 5);
    for number in 0.. {
        let heard = press(number, &frame(sends, number), sent, interview.line());
        match interview.press(heard) {
            Step::Press(_) => {}
            Step::Done => break,
        }
    }
    interview
}

/// A press received at a wrong speed without error marks is no evidence against the right speed.
#[test]
fn a_line_is_told_also_where_the_driver_marks_no_framing_error() {
    let mut faults = Vec::new();
    let mut told = 0;
    for settings in ["4800 7E2", "2400 8N1", "1200 7E2", "4800 8N1", "19200 8N1"] {
        let sent = line(settings);
        for (format, sends) in FORMATS
            .into_iter()
            .filter(|(name, _)| !name.ends_with("packed"))
        {
            let mut interview = Interview::new(LineSettings::default(), 10);
            for number in 0.. {
                let frame = frame(sends, number);
                let heard = unmarked(number, &frame, sent, interview.line());
                match interview.press(heard) {
                    Step::Press(_) => {}
                    Step::Done => break,
                }
            }
            let opinion = interview.opinion();
            let right = opinion
                .fits
                .first()
                .is_some_and(|best| best.format.name == format && best.line.baud == sent.baud);
            if right {
                told += 1;
            } else {
                faults.push(format!(
                    "{format} at {settings}: {:?} after {}",
                    names(opinion),
                    interview.presses()
                ));
            }
        }
    }
    assert!(faults.is_empty(), "{told} told; {faults:#?}");
}

fn names(opinion: &Opinion) -> Vec<String> {
    let fits = opinion.fits.iter();
    fits.map(|fit| format!("{} ({} bits)", fit.name(), fit.bits))
        .collect()
}

#[test]
fn every_format_is_told_at_every_setting_in_at_most_five_presses() {
    let mut table = String::new();
    let mut faults = Vec::new();
    for settings in [
        "9600 8N1",
        "4800 7E2",
        "2400 8N1",
        "1200 7E2",
        "115200 8N1",
        "9600 8E1",
        "9600 7N2",
    ] {
        let sent = line(settings);
        for (format, sends) in FORMATS {
            let packed = format.ends_with("packed");
            if packed && sent.data_bits == 7 {
                continue; // a packed frame needs eight bits
            }
            let interview = interview(sends, sent);
            let opinion = interview.opinion();
            let _ = writeln!(
                table,
                "{settings:<10} {format:<14} {} presses: {}",
                interview.presses(),
                names(opinion).join(", ")
            );
            let right = opinion.only().is_some_and(|only| {
                only.format.name == format
                    && (only.line.baud, only.line.data_bits, only.line.parity)
                        == (sent.baud, sent.data_bits, sent.parity)
            });
            if !right {
                faults.push(format!("{format} at {settings}: {:?}", names(opinion)));
            }
        }
    }
    assert!(faults.is_empty(), "{}\n{table}", faults.join("\n"));
}

fn noise(chunks: &[Vec<u8>], port: LineSettings) -> Vec<Heard> {
    let chunk = |(at, bytes): (u32, &Vec<u8>)| Heard {
        line: port,
        chunks: vec![Chunk {
            at: MonoMicros(0).plus(Duration::from_secs(1) * at),
            bytes: bytes.clone(),
            spoiled: false,
        }],
    };
    (0..).zip(chunks).map(chunk).collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(cases(64)))]
    #[test]
    fn noise_is_never_surely_something(
        chunks in prop::collection::vec(prop::collection::vec(any::<u8>(), 1..40), 1..5),
    ) {
        let opinion = opinion(&noise(&chunks, line("9600 8N1")));
        for fit in &opinion.fits {
            prop_assert!(fit.surety() < Surety::Sure, "{}: {} bits", fit.name(), fit.bits);
        }
    }
}

#[test]
fn a_megabyte_of_noise_gets_no_advice() {
    let format = FrameFormat::from_name("decimal-line").unwrap();
    let mut watcher = Watcher::default();
    watcher.opened(Some(line("9600 8N1")));
    let mut noise = 1_u32;
    for millis in 0..2_000 {
        let bytes: Vec<u8> = (0..512)
            .map(|_| {
                noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                noise.to_be_bytes()[0]
            })
            .collect();
        watcher.push(MonoMicros(millis * 1_000), &bytes, false);
        assert_eq!(watcher.advice(format), None);
    }
}

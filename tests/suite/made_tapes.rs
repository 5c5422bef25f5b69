//! Computes tapes of `tests/captures`: those of a simulated caliper, hand and faulty line.

use super::tapes::root;
use std::fs;
use std::time::Duration;
use tallyjaw::decode::format::Ticks;
use tallyjaw::quantity::Length;
use tallyjaw::serial::tape::{Header, Mark, Recorder};
use tallyjaw::serial::{ByteRun, Marks};
use tallyjaw::virtual_caliper::line::{heard, on_terminal};
use tallyjaw::virtual_caliper::{Battery, Display, Form, Motion, Sends, stream};

/// A tape that is being made.
pub(super) struct Made {
    /// Name of the folder, which says what happened.
    pub(super) name: &'static str,
    instrument: &'static str,
    device: &'static str,
    how: &'static str,
    line: &'static str,
    marks: Vec<(u64, Mark)>,
}

const SECOND: u64 = 1_000_000;

impl Made {
    fn new(name: &'static str, device: &'static str, how: &'static str) -> Self {
        let port = "/dev/ttyUSB0".to_owned();
        Self {
            name,
            instrument: "caliper-1",
            device,
            how,
            line: "9600 8N1",
            marks: vec![(0, Mark::Opened { port })],
        }
    }

    fn read_by(mut self, instrument: &'static str) -> Self {
        self.instrument = instrument;
        self
    }

    /// Adds bytes a time after the last ones.
    fn then(mut self, later: u64, bytes: impl AsRef<[u8]>) -> Self {
        let at = self.marks.last().map_or(0, |(at, _)| *at) + later;
        self.marks.push((at, Mark::Bytes(bytes.as_ref().to_vec())));
        self
    }

    /// The same, as from a terminal that marks errors.
    fn then_marked(mut self, later: u64, bytes: &[u8]) -> Self {
        let at = self.marks.last().map_or(0, |(at, _)| *at) + later;
        for run in Marks::default().take(bytes) {
            let mark = match run {
                ByteRun::Sound(bytes) => Mark::Bytes(bytes),
                ByteRun::Spoiled(bytes) => Mark::Spoiled(bytes),
            };
            self.marks.push((at, mark));
        }
        self
    }

    fn closed(mut self, later: u64) -> Self {
        let at = self.marks.last().map_or(0, |(at, _)| *at) + later;
        let reason = "the other end is gone: unplugged, or closed".to_owned();
        self.marks.push((at, Mark::Closed { reason }));
        self
    }

    fn opened(mut self, later: u64) -> Self {
        let at = self.marks.last().map_or(0, |(at, _)| *at) + later;
        let port = "/dev/ttyUSB1".to_owned();
        self.marks.push((at, Mark::Opened { port }));
        self
    }

    fn moving(mut self, motion: &Motion, display: Display) -> Self {
        for frame in stream(30, motion, display) {
            self.marks
                .push((SECOND + frame.micros, Mark::Bytes(frame.bytes)));
        }
        self
    }

    pub(super) fn tape(&self) -> Vec<u8> {
        let header = Header {
            at: "2026-11-25T09:14:03Z".parse().unwrap(),
            line: self.line.parse().unwrap(),
            port: Some("/dev/ttyUSB0".to_owned()),
            instrument: Some(self.instrument.to_owned()),
            format: None,
        };
        let mut recorder = Recorder::new(Vec::new(), &header).unwrap();
        for (micros, mark) in &self.marks {
            recorder.write(*micros, mark).unwrap();
        }
        recorder.into_inner()
    }
}

/// Writes all tapes with their descriptions.
pub(super) fn write() {
    for made in all() {
        let folder = root().join("tests/captures").join(made.name);
        fs::create_dir_all(&folder).unwrap();
        fs::write(folder.join("capture.tape"), made.tape()).unwrap();
        let about = format!(
            "instrument = \"{}\"\nplan = \"pump-own\"\ndevice = \"{}\"\ndate = \"2026-11-25\"\nhow = \"{}\"\n",
            made.instrument, made.device, made.how
        );
        fs::write(folder.join("about.toml"), about).unwrap();
    }
}

/// The bytes that a port at `receiver` gets from characters sent at `sent`.
fn misread(bytes: &[u8], sent: &str, receiver: &str) -> Vec<u8> {
    on_terminal(&heard(
        bytes,
        sent.parse().unwrap(),
        receiver.parse().unwrap(),
    ))
}

fn mm(hundredths: i64) -> Length {
    Length::from_nanometres(hundredths * 10_000)
}

const BY_HAND: &str = "written by hand; not taken from a device";
const FROM_BITS: &str = "computed from the bits of the line; not taken from a device";
const FROM_MOTION: &str = "computed by the virtual caliper; not taken from a device";

pub(super) fn all() -> Vec<Made> {
    let mut made = presses();
    made.extend(spoiled());
    made.extend(streams());
    made
}

fn presses() -> Vec<Made> {
    vec![
        Made::new("press", "a caliper with a data button", BY_HAND)
            .then(SECOND, "+0.00\r")
            .then(3 * SECOND, "+1.63\r")
            // The line is slow, so a frame comes in pieces.
            .then(4 * SECOND, "+1.")
            .then(4_000, "6")
            .then(2_000, "1\r")
            .then(5 * SECOND, "+1.68\r")
            .then(2 * SECOND, "+0.00\r"),
        Made::new("bounce", "a caliper whose data button bounces", BY_HAND)
            .then(SECOND, "+0.00\r+0.00\r")
            .then(3 * SECOND, "+1.63\r")
            .then(40_000, "+1.63\r")
            .then(90_000, "+1.63\r+1.63\r")
            // The same again, as slowly as a hand: another piece of the same height.
            .then(SECOND, "+1.63\r")
            .then(3 * SECOND, "+1.62\r")
            .then(20_000, "+1.62\r")
            .then(3 * SECOND, "+0.01\r"),
        Made::new(
            "half_frame_at_unplug",
            "a caliper that is unplugged as it sends",
            BY_HAND,
        )
        .then(SECOND, "+0.00\r")
        .then(3 * SECOND, "+1.6")
        .closed(1_000)
        .opened(2 * SECOND)
        // The rest never comes; the next bytes are a frame of their own.
        .then(SECOND, "+1.62\r"),
    ]
}

fn spoiled() -> Vec<Made> {
    let noise: Vec<u8> = (0..400_u32)
        .map(|at| (at.wrapping_mul(2_654_435_761) >> 24).to_le_bytes()[0])
        .collect();
    let mut parity = misread(b"+1.63\r", "4800 7E2", "4800 7E2");
    // One bit of the 6 was inverted, and the port marks the character.
    parity.splice(3..4, [0xff, 0x00, b'6' ^ 0x01]);
    let mut parity_fault = Made::new(
        "parity_fault",
        "a caliper at 7E2 beside a welder",
        FROM_BITS,
    )
    .then(SECOND, "+0.00\r")
    .then_marked(3 * SECOND, &parity)
    .then(SECOND, "+1.63\r");
    parity_fault.line = "4800 7E2";
    let wrong = |bytes: &[u8]| misread(bytes, "4800 7E2", "9600 8N1");
    vec![
        Made::new("noise", "a cable beside a crimp press", BY_HAND)
            .then(SECOND, "+0.00\r")
            .then(SECOND, &noise[..30])
            .then(100_000, &noise[30..300])
            .then(1_500_000, &noise[300..])
            .then(2 * SECOND, "\r+1.63\r"),
        parity_fault,
        Made::new(
            "wrong_speed_at_the_bench",
            "a caliper at 4800 7E2 read at 9600 8N1",
            FROM_BITS,
        )
        .then_marked(SECOND, &wrong(b"+0.00\r"))
        .then_marked(3 * SECOND, &wrong(b"+1.63\r"))
        .then_marked(3 * SECOND, &wrong(b"+1.62\r")),
    ]
}

fn streams() -> Vec<Made> {
    let closed = |motion: &mut Motion| {
        motion.move_to(mm(0), 60).hold(Duration::from_millis(800));
        motion.move_to(mm(450), 60);
    };
    let stay = Duration::from_millis(900);
    let flickering = Display {
        flicker_percent: 40,
        ..Display::COMMON
    };

    let mut pieces = Motion::new(mm(450), 1).with_tremor(mm(3));
    closed(&mut pieces);
    for size in [162, 166, 160] {
        pieces.measure(mm(size), 60, stay);
    }
    closed(&mut pieces);

    let mut origin = Motion::new(mm(450), 2);
    closed(&mut origin);
    origin.measure(mm(162), 60, stay);
    origin
        .move_to(mm(340), 60)
        .hold(Duration::from_millis(400))
        .press_zero();
    origin
        .hold(stay)
        .move_to(mm(450), 60)
        .measure(mm(162), 60, stay);
    // Closed again, and set to zero in the right position.
    origin.move_to(mm(0), 60).hold(stay).press_zero().hold(stay);
    origin.move_to(mm(450), 60).measure(mm(161), 60, stay);

    let mut told = Motion::new(mm(0), 3);
    told.hold(Duration::from_secs(3))
        .move_to(mm(162), 60)
        .hold(stay)
        .press_zero()
        .hold(stay);
    let word48 = Display {
        sends: Sends::Word48 {
            form: Form::Packed,
            origin: Ticks(0),
        },
        ..Display::COMMON
    };
    let press = |at: u64| word48.frame(&told, at).unwrap().unwrap().bytes;
    let end = u64::try_from(told.duration().as_micros()).unwrap();

    let mut sagging = Motion::new(mm(450), 4);
    closed(&mut sagging);
    for size in [162, 166] {
        sagging.measure(mm(size), 60, stay);
    }
    let whole = u64::try_from(sagging.duration().as_micros()).unwrap();
    sagging
        .measure(mm(163), 60, stay)
        .measure(mm(163), 60, stay);
    let battery = Battery {
        sags_at_micros: whole,
        silent_at_micros: whole + 2 * SECOND,
    };
    vec![
        Made::new(
            "stream_with_flicker",
            "a caliper that sends all the time",
            FROM_MOTION,
        )
        .read_by("stream-1")
        .moving(&pieces, flickering),
        Made::new(
            "origin_moved",
            "a caliper that sends all the time",
            FROM_MOTION,
        )
        .read_by("stream-1")
        .moving(&origin, Display::COMMON),
        Made::new(
            "origin_moved_and_told",
            "a caliper whose frames tell its origin",
            FROM_MOTION,
        )
        .read_by("packed-1")
        .then(SECOND, press(SECOND))
        .then(3 * SECOND, press(end - SECOND))
        .then(3 * SECOND, press(end)),
        Made::new(
            "battery_sagging_to_fewer_digits",
            "a caliper with an old battery",
            FROM_MOTION,
        )
        .read_by("stream-1")
        .moving(
            &sagging,
            Display {
                battery: Some(battery),
                ..Display::COMMON
            },
        ),
    ]
}

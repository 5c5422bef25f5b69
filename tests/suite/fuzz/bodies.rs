//! Properties that hold for any input. The fuzz engine runs these bodies without end (`fuzz/run`); tests run them over
//! `tests/corpus`.
//!
//! An input of the decoder and the splitter is a script: what the line does, in order, so that the engine can invent silences, spoiled
//! bytes and cuts as well as bytes.

use std::collections::VecDeque;
use std::sync::LazyLock;
use std::time::Duration;
use tallyjaw::decode::framing::{Frame, Framing, Splitter};
use tallyjaw::decode::{Decoded, Decoder, FORMATS, Pattern};
use tallyjaw::quantity::{MonoMicros, Unit};
use tallyjaw::serial::tape::{Header, Player, Recorder, Timed};

/// A body: the name of its folder in `tests/corpus`, and its function.
pub(super) type Body = (&'static str, fn(&[u8]));

/// Every body.
pub(super) const BODIES: &[Body] = &[("decoder", decoder), ("splitter", splitter), ("tape", tape)];

/// Any pattern that a user may reasonably write.
const PATTERN: &str =
    "(?:CH(?<channel>[0-9]+) )?(?<sign>[^0-9. ]+)? *(?<value>[-+]?[0-9.]+) *(?<unit>[a-z]+)?;?";

/// Compiled once, because that takes longer than a thousand inputs.
static COMPILED: LazyLock<Pattern> =
    LazyLock::new(|| Pattern::new(PATTERN).expect("a pattern of ours"));

/// The next event on the line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Step<'a> {
    Sound(&'a [u8]),
    Spoiled(&'a [u8]),
    Silence(Duration),
    /// The waiting caller is woken.
    Wake,
    End,
}

/// The steps that these bytes encode. Each begins with a byte for kind and length.
fn steps(mut script: &[u8]) -> Vec<Step<'_>> {
    let mut steps = Vec::new();
    while let Some((head, rest)) = script.split_first() {
        let length = usize::from(head & 0x3f).min(rest.len());
        let (bytes, after) = rest.split_at(length);
        (script, steps) = match head >> 6 {
            0 | 1 => (after, with(steps, Step::Sound(bytes))),
            2 => (after, with(steps, Step::Spoiled(bytes))),
            _ => (rest, with(steps, quiet(head & 0x3f))),
        };
    }
    steps
}

fn with<'a>(mut steps: Vec<Step<'a>>, step: Step<'a>) -> Vec<Step<'a>> {
    steps.push(step);
    steps
}

fn quiet(kind: u8) -> Step<'static> {
    match kind {
        0 => Step::End,
        1 => Step::Wake,
        millis => Step::Silence(Duration::from_millis(u64::from(millis - 1).pow(2))),
    }
}

/// The bytes of all steps, and whether each is spoiled.
fn received(steps: &[Step<'_>]) -> Vec<(u8, bool)> {
    let bytes = |step: &Step<'_>| match step {
        Step::Sound(bytes) => bytes.iter().map(|byte| (*byte, false)).collect(),
        Step::Spoiled(bytes) => bytes.iter().map(|byte| (*byte, true)).collect(),
        Step::Silence(_) | Step::Wake | Step::End => Vec::new(),
    };
    steps.iter().flat_map(bytes).collect()
}

/// The same steps, with every byte on its own.
fn cut<'a>(steps: &[Step<'a>]) -> Vec<Step<'a>> {
    let each = |step: &Step<'a>| match *step {
        Step::Sound(bytes) => bytes.chunks(1).map(Step::Sound).collect(),
        Step::Spoiled(bytes) => bytes.chunks(1).map(Step::Spoiled).collect(),
        other => vec![other],
    };
    steps.iter().flat_map(each).collect()
}

/// Operations that a decoder and a splitter have in common.
trait Takes {
    fn sound(&mut self, now: MonoMicros, bytes: &[u8]);
    fn spoiled(&mut self, now: MonoMicros, bytes: &[u8]);
    fn wake(&mut self, now: MonoMicros);
    fn gives_up_at(&self) -> Option<MonoMicros>;
    fn end(&mut self);
}

fn play(taker: &mut impl Takes, steps: &[Step<'_>]) {
    let mut now = MonoMicros(0);
    for step in steps {
        match step {
            Step::Sound(bytes) => taker.sound(now, bytes),
            Step::Spoiled(bytes) => taker.spoiled(now, bytes),
            Step::Silence(pause) => now = now.plus(*pause),
            Step::Wake => {
                taker.wake(now);
                let next = taker.gives_up_at();
                assert!(next.is_none_or(|at| at > now), "would be woken for ever");
            }
            Step::End => taker.end(),
        }
    }
    taker.end();
    assert_eq!(taker.gives_up_at(), None, "bytes are kept after the end");
}

impl Takes for Decoder {
    fn sound(&mut self, now: MonoMicros, bytes: &[u8]) {
        self.push(now, bytes);
    }
    fn spoiled(&mut self, now: MonoMicros, bytes: &[u8]) {
        self.push_spoiled(now, bytes);
    }
    fn wake(&mut self, now: MonoMicros) {
        self.give_up_on_old_bytes(now);
    }
    fn gives_up_at(&self) -> Option<MonoMicros> {
        Decoder::gives_up_at(self)
    }
    fn end(&mut self) {
        Decoder::end(self);
    }
}

impl Takes for Splitter {
    fn sound(&mut self, now: MonoMicros, bytes: &[u8]) {
        self.push(now, bytes);
    }
    fn spoiled(&mut self, now: MonoMicros, bytes: &[u8]) {
        self.push_spoiled(now, bytes);
    }
    fn wake(&mut self, now: MonoMicros) {
        self.give_up_on_old_bytes(now);
    }
    fn gives_up_at(&self) -> Option<MonoMicros> {
        Splitter::gives_up_at(self)
    }
    fn end(&mut self) {
        Splitter::end(self);
    }
}

/// Takes the next `raw` off `left`. The bytes must be equal; returns whether one of them is bad.
fn take_off(left: &mut VecDeque<(u8, bool)>, raw: &[u8]) -> bool {
    assert!(!raw.is_empty(), "something was found in no bytes");
    let mut any_spoiled = false;
    for byte in raw {
        let next = left.pop_front();
        assert_eq!(next.map(|(byte, _)| byte), Some(*byte), "lost or invented");
        any_spoiled |= next.is_some_and(|(_, spoiled)| spoiled);
    }
    any_spoiled
}

/// The first byte chooses the format, the next one the unit.
fn decoder(input: &[u8]) {
    let [choice, unit, script @ ..] = input else {
        return;
    };
    let format = FORMATS[usize::from(*choice) % FORMATS.len()];
    let unit = if unit % 2 == 0 {
        Unit::Millimetre
    } else {
        Unit::Inch
    };
    let pattern = || format.needs_pattern().then(|| COMPILED.clone());
    let fresh = || Decoder::new(format, unit).with_pattern(pattern());
    let run = |steps: &[Step<'_>]| {
        let mut decoder = fresh();
        play(&mut decoder, steps);
        std::iter::from_fn(|| decoder.poll()).collect::<Vec<_>>()
    };
    let steps = steps(script);
    let found = run(&steps);
    let mut left = VecDeque::from(received(&steps));
    for decoded in &found {
        let any_spoiled = take_off(&mut left, decoded.raw());
        match decoded {
            Decoded::Value { raw, .. } => {
                assert!(!any_spoiled, "a value out of a spoiled byte");
                assert_eq!(
                    run(&[Step::Sound(raw)]),
                    std::slice::from_ref(decoded),
                    "means more than it says"
                );
            }
            Decoded::Blank { .. } => assert!(!any_spoiled, "a spoiled byte without an entry"),
            Decoded::Undecoded { reason, .. } => {
                assert!(!reason.to_string().is_empty() && reason.remedy().is_some());
            }
        }
    }
    assert!(left.is_empty(), "bytes lost");
    assert_eq!(run(&cut(&steps)), found, "another cut, another meaning");
}

/// The first byte chooses the framing and its length.
fn splitter(input: &[u8]) {
    let [choice, script @ ..] = input else {
        return;
    };
    let size = usize::from(choice & 0x7f) + 1;
    let framing = if choice & 0x80 == 0 {
        Framing::Delimited { longest: size }
    } else {
        Framing::IdleGap { length: size }
    };
    let run = |steps: &[Step<'_>]| {
        let mut splitter = Splitter::new(framing);
        play(&mut splitter, steps);
        std::iter::from_fn(|| splitter.poll()).collect::<Vec<_>>()
    };
    let steps = steps(script);
    let found = run(&steps);
    let mut left = VecDeque::from(received(&steps));
    for frame in &found {
        match frame {
            Frame::Whole { raw, .. } => {
                assert!(!take_off(&mut left, raw), "a frame out of a spoiled byte");
                check_whole(framing, frame.body(), raw);
            }
            Frame::Blank { raw } => {
                assert!(!take_off(&mut left, raw), "a spoiled byte without a fault");
                assert!(raw.iter().all(|byte| matches!(byte, b'\r' | b'\n')));
            }
            Frame::Broken { raw, .. } => {
                take_off(&mut left, raw);
            }
        }
    }
    assert!(left.is_empty(), "bytes lost");
    assert_eq!(run(&cut(&steps)), found, "another cut, other frames");
}

fn check_whole(framing: Framing, body: &[u8], raw: &[u8]) {
    match framing {
        Framing::Delimited { longest } => {
            assert!(!body.is_empty() && body.len() <= longest);
            assert!(!body.iter().any(|byte| matches!(byte, b'\r' | b'\n')));
            assert!(matches!(raw.strip_prefix(body), Some(b"\r" | b"\n")));
        }
        Framing::IdleGap { length } => assert!(body == raw && raw.len() == length),
    }
}

/// A tape with any damage is read up to its first fault. What was read is written and read again.
fn tape(input: &[u8]) {
    let mut player = match Player::new(input) {
        Ok(player) => player,
        Err(error) => return assert!(!error.to_string().is_empty()),
    };
    let mut marks: Vec<Timed> = Vec::new();
    while let Ok(Some(timed)) = player.next_mark() {
        assert!(marks.last().is_none_or(|last| last.micros <= timed.micros));
        marks.push(timed);
    }
    let copy = recorded(player.header(), &marks);
    let mut again = Player::new(copy.as_slice()).expect("what is written can be read");
    let mut marks_again = Vec::new();
    while let Some(timed) = again.next_mark().expect("what is written can be read") {
        marks_again.push(timed);
    }
    assert!(!again.is_cut_short(), "a copy without its end");
    // Words lose their control characters in the first copy, and nothing later.
    assert_eq!(marks_again.len(), marks.len(), "marks lost or invented");
    assert_eq!(recorded(again.header(), &marks_again), copy);
}

fn recorded(header: &Header, marks: &[Timed]) -> Vec<u8> {
    let mut recorder = Recorder::new(Vec::new(), header).expect("memory takes all");
    for Timed { micros, mark } in marks {
        recorder.write(*micros, mark).expect("memory takes all");
    }
    recorder.into_inner()
}

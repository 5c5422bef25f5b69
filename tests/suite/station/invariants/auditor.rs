//! Checks the entries as an auditor with pencil and paper would: without the program's own fold, its rules for
//! zeros or its judging. The auditor has a watch that nobody ever sets.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;
use tallyjaw::entry::{
    Answer, Completed, Disarmed, Doubted, Entry, FrameEntry, Means, NotCounted, Outcome, PortEntry,
    Reading, ReadingSlot, Restored, Resumed, Retracted, Seq, SeriesEntry, Stamped, Standing, Tally,
    Zeroed,
};
use tallyjaw::quantity::{Dimension, Quantity};
use tallyjaw::spec::{ArmedSpec, AxisName, Limits, LooksPer, Order, Verdict};

type Place = (u32, AxisName);

#[derive(Default)]
struct Auditor {
    open: BTreeMap<String, Series>,
    /// Instruments whose origin was set with open jaws.
    astray: BTreeSet<String>,
    /// The last zero of each instrument, and its time if it was good; gone with the next reading.
    last_zeros: BTreeMap<String, (Seq, Option<Duration>)>,
    /// Stations whose last series was full, of a plan that repeats, and not yet followed by the next.
    owe_a_series: BTreeSet<String>,
    /// Series that the last arming stopped, and how many were armed since.
    stopped: BTreeMap<String, (Series, u32)>,
    /// Readings that count, in any series.
    counted_readings: usize,
}

/// A series that is open.
struct Series {
    id: Seq,
    since: Duration,
    spec: ArmedSpec,
    standing: Vec<Counted>,
    zeros: BTreeMap<String, Zero>,
    /// The readings that the last zero puts in doubt, until an entry says so.
    owed_doubt: BTreeSet<Seq>,
    /// Pieces that were destroyed by a reading that was retracted.
    spent: BTreeSet<u32>,
    /// The reading that was retracted last, and whether its piece was spent by that.
    last_retracted: Option<(Counted, bool)>,
    /// Every zero of each instrument, and whether it was good.
    all_zeros: BTreeMap<String, Vec<(Seq, bool)>>,
    doubted: u32,
    retracted: u32,
    /// The last answer to each visual check, and how each pull failed.
    looks: BTreeMap<(Option<u32>, u32), Answer>,
    pulls: BTreeSet<Seq>,
    not_counted: u32,
}

#[derive(Clone)]
struct Counted {
    seq: Seq,
    place: Place,
    instrument: String,
    verdict: Verdict,
}

/// The last zeros of an instrument.
#[derive(Default, Clone, Copy)]
struct Zero {
    good: Option<(Seq, Duration)>,
    off: bool,
}

/// Takes every entry with the time on the auditor's watch. Gives the number of readings that count.
pub(crate) fn audit<'a>(entries: impl Iterator<Item = (&'a Stamped, Duration)>) -> usize {
    let mut auditor = Auditor::default();
    for (stamped, time) in entries {
        auditor.entry(stamped, time);
    }
    auditor.counted_readings
}

impl Auditor {
    fn entry(&mut self, stamped: &Stamped, time: Duration) {
        let seq = stamped.seq;
        match &stamped.entry {
            Entry::Series(SeriesEntry::Armed(spec)) => {
                let mut series = Series::new(seq, time, spec);
                self.carry_zeros(&mut series);
                let before = self.open.insert(spec.station.clone(), series);
                assert!(before.is_none(), "{seq}: armed over an open series");
                self.owe_a_series.remove(&spec.station);
                if let Some((_, armed)) = self.stopped.get_mut(&spec.station) {
                    *armed += 1;
                }
            }
            Entry::Series(SeriesEntry::Completed(completed)) => {
                let series = self.open.remove(&completed.station);
                let series = series.expect("an open series");
                for counted in &series.standing {
                    series.no_off_zero_before_a_good_one(counted);
                }
                if series.spec.repeat && completed.outcome != Outcome::CutShort {
                    self.owe_a_series.insert(completed.station.clone());
                }
                series.close(completed);
                if completed.resumable {
                    assert_eq!(completed.outcome, Outcome::CutShort, "{seq}");
                    let stopped = (series, 0);
                    self.stopped.insert(completed.station.clone(), stopped);
                }
            }
            Entry::Series(SeriesEntry::Resumed(Resumed {
                station, series, ..
            })) => {
                let (stopped, armed) = self.stopped.remove(station).expect("a stopped series");
                assert_eq!(stopped.id, *series, "{seq}: the one stopped last");
                assert!(armed < 2, "{seq}: {armed} were armed since");
                let open = self.open.insert(station.clone(), stopped);
                assert!(open.is_none(), "{seq}: resumed over an open series");
            }
            Entry::Frame(FrameEntry::Zeroed(zeroed)) => self.zeroed(seq, time, zeroed),
            Entry::Frame(FrameEntry::Reading(reading)) => self.reading(seq, time, reading),
            Entry::Series(SeriesEntry::Retracted(Retracted {
                station,
                series,
                reading,
                by,
                reason,
                spent,
                ..
            })) => {
                let open = self.series(station, *series);
                open.retract(*reading, *spent);
                let slip = matches!(by, Some(Means::Pedal | Means::DoubleZero));
                assert!(!spent || (!slip && reason.is_some()), "{seq}: by {by:?}");
            }
            Entry::Series(SeriesEntry::Restored(Restored {
                station,
                series,
                reading,
                ..
            })) => self.series(station, *series).restore(*reading),
            Entry::Series(SeriesEntry::Doubted(Doubted {
                station,
                series,
                readings,
                ..
            })) => {
                let open = self.series(station, *series);
                let readings: BTreeSet<Seq> = readings.iter().copied().collect();
                assert_eq!(readings, open.owed_doubt, "{seq}: what is in doubt");
                open.take_out(&readings);
                open.doubted += u32::try_from(readings.len()).unwrap();
                open.owed_doubt.clear();
            }
            Entry::Series(SeriesEntry::Looked(looked)) => {
                let open = self.series(&looked.station, looked.series);
                let asked = usize::try_from(looked.look).unwrap() - 1;
                assert_eq!(open.spec.questions.looks[asked].question, looked.question);
                let per_piece = open.spec.questions.looks_per == LooksPer::Piece;
                assert_eq!(looked.piece.is_some(), per_piece, "{seq}");
                open.looks
                    .insert((looked.piece, looked.look), looked.answer);
            }
            Entry::Series(SeriesEntry::Pulled(pulled)) => {
                let open = self.series(&pulled.station, pulled.series);
                let mut standing = open.standing.iter();
                assert!(
                    standing.any(|counted| counted.seq == pulled.reading),
                    "{seq}"
                );
                open.pulls.insert(pulled.reading);
            }
            // Ports open when a start has made up for what a kill left undone.
            Entry::Port(PortEntry::Attached(_)) => {
                assert_eq!(self.owe_a_series, BTreeSet::new(), "{seq}");
            }
            Entry::Series(SeriesEntry::Disarmed(Disarmed { station, .. })) => {
                assert!(!self.open.contains_key(station));
            }
            _ => {}
        }
    }

    /// The closing zeros of the series before open a repeated one: nothing was counted since.
    fn carry_zeros(&self, series: &mut Series) {
        for carried in &series.spec.opening_zeros {
            let (zero, good) = self.last_zeros[&carried.instrument];
            assert_eq!(zero, Seq(carried.zeroed), "the last zero");
            let good = Some((zero, good.expect("a good zero")));
            let carried = (carried.instrument.clone(), Zero { good, off: false });
            series.zeros.extend([carried]);
        }
        assert!(series.spec.repeat || series.zeros.is_empty());
    }

    fn series(&mut self, station: &str, id: Seq) -> &mut Series {
        let open = self.open.get_mut(station).expect("an open series");
        assert_eq!(open.id, id);
        open
    }

    fn zeroed(&mut self, seq: Seq, time: Duration, zeroed: &Zeroed) {
        match zeroed.opening {
            Some(_) => drop(self.astray.insert(zeroed.instrument.clone())),
            None if zeroed.ok => drop(self.astray.remove(&zeroed.instrument)),
            None => {}
        }
        let good = zeroed.ok.then_some(time);
        self.last_zeros
            .insert(zeroed.instrument.clone(), (seq, good));
        if !zeroed.ok {
            self.stopped.remove(&zeroed.station);
        }
        let open = self.open.get_mut(&zeroed.station);
        assert_eq!(open.as_ref().map(|open| open.id), zeroed.series);
        let Some(open) = open else { return };
        assert_eq!(open.owed_doubt, BTreeSet::new(), "{seq}: doubt comes first");
        let all = open.all_zeros.entry(zeroed.instrument.clone());
        all.or_default().push((seq, zeroed.ok));
        let zero = open.zeros.entry(zeroed.instrument.clone()).or_default();
        zero.off = !zeroed.ok;
        if zeroed.ok {
            zero.good = Some((seq, time));
        } else {
            let good = zero.good;
            let since = |seq: Seq| good.is_none_or(|(good, _)| seq > good);
            let of_it = |counted: &&Counted| counted.instrument == zeroed.instrument;
            let shaken = open.standing.iter().filter(of_it);
            open.owed_doubt = shaken
                .map(|counted| counted.seq)
                .filter(|seq| since(*seq))
                .collect();
        }
    }

    fn reading(&mut self, seq: Seq, time: Duration, reading: &Reading) {
        let open = self.open.get_mut(&*reading.station);
        let is_astray = self.astray.contains(&*reading.instrument);
        if let Some(open) = open.as_ref().filter(|_| !is_astray) {
            let is_zero = open.is_about_the_zero(reading);
            assert!(
                !is_zero,
                "{seq}: {} is no reading, but a zero",
                reading.value
            );
        }
        if let Standing::NotCounted { reason, .. } = reading.standing {
            assert_eq!(open.is_none(), reason == NotCounted::NotArmed, "{seq}");
            let verdict = reading.verdict();
            assert_eq!(verdict, None, "{seq}: a verdict on what does not count");
            if let Some(open) = open {
                open.not_counted += 1;
            }
            return;
        }
        self.last_zeros.remove(&*reading.instrument);
        self.stopped.remove(&*reading.station);
        let slot = reading.slot.as_ref().expect("a counted reading has a spec");
        let open = open.expect("a counted reading has an open series");
        assert!(
            !self.astray.contains(&*reading.instrument),
            "{seq}: counted with the origin astray"
        );
        open.counted(seq, time, reading, slot);
        self.counted_readings += 1;
    }
}

impl Series {
    fn new(id: Seq, since: Duration, spec: &ArmedSpec) -> Self {
        Self {
            id,
            since,
            spec: spec.clone(),
            standing: Vec::new(),
            zeros: BTreeMap::new(),
            owed_doubt: BTreeSet::new(),
            spent: BTreeSet::new(),
            last_retracted: None,
            all_zeros: BTreeMap::new(),
            doubted: 0,
            retracted: 0,
            looks: BTreeMap::new(),
            pulls: BTreeSet::new(),
            not_counted: 0,
        }
    }

    fn retract(&mut self, reading: Seq, spent: bool) {
        let mut standing = self.standing.iter();
        let counted = standing.find(|it| it.seq == reading);
        let counted = counted.expect("a counted reading").clone();
        self.take_out(&BTreeSet::from([reading]));
        self.retracted += 1;
        let piece = counted.place.0;
        assert_eq!(spent, counted.place.1.as_str() == "pull_force");
        if spent {
            assert!(self.spent.insert(piece), "piece {piece} was spent before");
        }
        self.last_retracted = Some((counted, spent));
    }

    /// Only the last retraction can be undone, once, while no newer reading is in its slot and no zero puts it in
    /// doubt.
    fn restore(&mut self, reading: Seq) {
        let (counted, spent) = self.last_retracted.take().expect("a retracted reading");
        assert_eq!(counted.seq, reading, "the last one");
        if spent {
            let instead = self.spec.pieces + u32::try_from(self.spent.len()).unwrap();
            let measured = self.standing.iter().any(|it| it.place.0 == instead);
            assert!(!measured, "piece {instead} was measured instead");
            assert!(self.spent.remove(&counted.place.0));
        }
        assert!(!self.filled().contains(&counted.place), "measured again");
        self.no_off_zero_before_a_good_one(&counted);
        self.retracted -= 1;
        self.standing.push(counted);
    }

    fn no_off_zero_before_a_good_one(&self, counted: &Counted) {
        let zeros = self.all_zeros.get(&counted.instrument);
        let mut since = zeros.into_iter().flatten().filter(|it| it.0 > counted.seq);
        assert!(
            since.next().is_none_or(|(_, good)| *good),
            "{} counts, and the first zero after it was off",
            counted.seq
        );
    }

    fn take_out(&mut self, readings: &BTreeSet<Seq>) {
        let before = self.standing.len();
        self.standing
            .retain(|counted| !readings.contains(&counted.seq));
        let taken = before - self.standing.len();
        assert_eq!(taken, readings.len(), "each of them counted: {readings:?}");
    }

    fn filled(&self) -> BTreeSet<Place> {
        let places = self.standing.iter().map(|counted| counted.place.clone());
        places.collect()
    }

    /// Every place, in the order in which it should be filled.
    fn places(&self) -> Vec<Place> {
        let axes: Vec<AxisName> = self
            .spec
            .axes
            .iter()
            .map(|axis| axis.name.clone())
            .collect();
        let last = self.spec.pieces + u32::try_from(self.spent.len()).unwrap();
        let pieces = (1..=last).filter(|piece| !self.spent.contains(piece));
        let place = |piece, axis: &AxisName| (piece, axis.clone());
        match self.spec.order {
            Order::ByAxis => axes
                .iter()
                .flat_map(|axis| pieces.clone().map(move |piece| place(piece, axis)))
                .collect(),
            Order::ByPiece | Order::ByValue => pieces
                .flat_map(|piece| axes.iter().map(move |axis| place(piece, axis)))
                .collect(),
        }
    }

    fn counted(&mut self, seq: Seq, time: Duration, reading: &Reading, slot: &ReadingSlot) {
        assert_eq!(slot.series, self.id, "{seq}: of another series");
        assert_eq!(self.owed_doubt, BTreeSet::new(), "{seq}: doubt comes first");
        let spec = self.spec.axis(&slot.axis).expect("an axis of the spec");
        assert_eq!(slot.limits, spec.limits, "{seq}: judged by other limits");
        let guard = spec.guard_of(&reading.instrument);
        let guard = guard.expect("an instrument that measures this axis");
        let verdict = slot.verdict.expect("a counted reading has a verdict");
        let value = reading.value.quantity();
        let attempt = self.spec.zero.attempt.nanometres();
        if let Some((smallest, _)) = spec.plausible.filter(|_| value.base().abs() <= attempt) {
            let is_below = 2 * value.base().abs() < smallest.base();
            let is_length = value.dimension() == Dimension::Length;
            assert!(!is_below || !is_length, "{seq}: {} counts", reading.value);
        }
        assert_eq!(verdict, by_hand(value, &slot.limits, guard.width), "{seq}");
        let place = (slot.piece, slot.axis.clone());
        let filled = self.filled();
        assert!(!filled.contains(&place), "{seq}: {place:?} filled twice");
        let by_value = self.spec.order == Order::ByValue;
        let of_it = |it: &Place| !by_value || it.1 == slot.axis;
        let next = self.places().into_iter().filter(of_it);
        let next = next.into_iter().find(|it| !filled.contains(it));
        assert_eq!(Some(&place), next.as_ref(), "{seq}: not the slot in hand");
        self.vouched_for(seq, time, &reading.instrument, slot.piece);
        self.standing.push(Counted {
            seq,
            place,
            instrument: reading.instrument.to_string(),
            verdict,
        });
    }

    /// Whether the zeros before a reading are those that the policy asks for.
    fn vouched_for(&self, seq: Seq, time: Duration, instrument: &str, piece: u32) {
        let policy = &self.spec.zero;
        let zero = self.zeros.get(instrument).copied().unwrap_or_default();
        assert!(!zero.off, "{seq}: counted after a zero that was off");
        assert!(
            zero.good.is_some() || !policy.before_first,
            "{seq}: counted without a zero"
        );
        let good = zero.good.map(|(good, _)| good);
        let at = zero.good.map_or(self.since, |(_, at)| at);
        if let Some(every) = policy.every {
            let passed = time.saturating_sub(at);
            assert!(passed < every, "{seq}: {passed:?} after the last zero");
        }
        if let Some(every) = policy.every_pieces {
            let since = self.standing.iter();
            let since = since.filter(|it| Some(it.seq) > good && it.instrument == instrument);
            let pieces = match self.spec.order {
                Order::ByAxis => since.count(),
                Order::ByPiece | Order::ByValue => {
                    let others = since.map(|it| it.place.0).filter(|it| *it != piece);
                    others.collect::<BTreeSet<_>>().len()
                }
            };
            let every = usize::try_from(every).unwrap();
            assert!(pieces < every, "{seq}: {pieces} pieces after the last zero");
        }
    }

    /// Whether a value is nearer to zero than to everything that the instrument can measure here.
    fn is_about_the_zero(&self, reading: &Reading) -> bool {
        let Some(known) = self.spec.instrument(&reading.instrument) else {
            return false;
        };
        let off_by = reading.value.quantity().base().abs();
        let shows = off_by % known.resolution.base() == 0;
        let is_attempt = off_by <= self.spec.zero.attempt.nanometres();
        let mut axes = self.spec.axes.iter();
        let is_below = axes.all(|axis| {
            let measured = axis.guard_of(&reading.instrument).is_some();
            let is_length = axis.limits.dimension() == Dimension::Length;
            let window = axis.plausible.filter(|_| is_length);
            !measured || window.is_some_and(|(smallest, _)| 2 * off_by < smallest.base())
        });
        shows && is_attempt && is_below && !known.zero_must_be_said
    }

    fn close(&self, completed: &Completed) {
        assert_eq!(completed.series, self.id);
        let came_to = |want: fn(Verdict) -> bool| {
            let counted = self.standing.iter();
            u32::try_from(counted.filter(|it| want(it.verdict)).count()).unwrap()
        };
        let tally = Tally {
            passed: came_to(|it| it == Verdict::Pass),
            failed: came_to(|it| matches!(it, Verdict::FailLow | Verdict::FailHigh)),
            unsure: came_to(|it| matches!(it, Verdict::UnsureLow | Verdict::UnsureHigh)),
            doubted: self.doubted,
            retracted: self.retracted,
            not_counted: self.not_counted,
            measured: 0, // its plans have a sheet each
        };
        assert_eq!(completed.tally, tally);
        if completed.outcome == Outcome::CutShort {
            return;
        }
        let want = match (tally.failed, self.bad_looks(), tally.unsure) {
            (0, 0, 0) => Outcome::Accepted,
            (0, 0, _) => Outcome::Undecided,
            _ => Outcome::Rejected,
        };
        assert_eq!(completed.outcome, want);
        if self.spec.questions.pull_mode {
            let mut pulls = self.standing.iter();
            let answered =
                pulls.all(|it| !it.place.1.is_destructive() || self.pulls.contains(&it.seq));
            assert!(answered, "completed without all pull modes");
        }
        assert_eq!(self.owed_doubt, BTreeSet::new(), "doubt comes first");
        let places: BTreeSet<Place> = self.places().into_iter().collect();
        assert_eq!(self.filled(), places, "completed, but not full");
        for counted in &self.standing {
            let zero = self.zeros.get(&counted.instrument);
            let zero = zero.copied().unwrap_or_default();
            assert!(!zero.off, "completed after a zero that was off");
            if self.spec.zero.closing {
                let vouched = zero.good.is_some_and(|(good, _)| good > counted.seq);
                assert!(vouched, "no closing zero vouches for {}", counted.seq);
            }
        }
    }
}

impl Series {
    /// Visual checks that are bad; each one of the pieces that count is answered.
    fn bad_looks(&self) -> usize {
        let questions = &self.spec.questions;
        let pieces: BTreeSet<Option<u32>> = match questions.looks_per {
            LooksPer::Piece => self.standing.iter().map(|it| Some(it.place.0)).collect(),
            LooksPer::Series => [None].into(),
        };
        let mut bad = 0;
        for piece in pieces {
            for look in 1..=u32::try_from(questions.looks.len()).unwrap() {
                let answer = self.looks.get(&(piece, look));
                bad += usize::from(*answer.expect("an answer to each check") == Answer::Bad);
            }
        }
        bad
    }
}

/// The verdict on `value`, computed limit by limit.
fn by_hand(value: Quantity, limits: &Limits, guard: i64) -> Verdict {
    let value = value.base();
    let lower = limits.lower().map(|lower| value - lower.base());
    let upper = limits.upper().map(|upper| upper.base() - value);
    // How far inside each limit the value lies.
    let (inside_lower, inside_upper) = (lower.unwrap_or(i64::MAX), upper.unwrap_or(i64::MAX));
    let is_low = inside_lower < inside_upper;
    let least = inside_lower.min(inside_upper);
    let unsure = guard > 0 && -guard <= least && least < guard;
    match (unsure, least < 0, is_low) {
        (true, _, true) => Verdict::UnsureLow,
        (true, _, false) => Verdict::UnsureHigh,
        (false, true, true) => Verdict::FailLow,
        (false, true, false) => Verdict::FailHigh,
        (false, false, _) => Verdict::Pass,
    }
}

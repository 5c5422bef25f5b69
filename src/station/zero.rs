//! When a zero is due, which values are zeros, and which readings a zero that is off puts in doubt.

use super::capture::Captured;
use super::{order, plausible};
use crate::entry::State;
use crate::entry::state::SeriesState;
use crate::entry::{NotCounted, ZeroRole};
use crate::quantity::{Measured, Quantity, WallMicros};
use crate::spec::{ArmedInstrument, ArmedSpec, Order, ZeroPolicy};
use std::fmt;
use std::time::Duration;

/// A slewed wall clock falls behind by no more than this between a zero and a reading.
const SLEWED_MICROS: i64 = 1_000_000;

/// Why a zero is due.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Due {
    /// The origin was set with open jaws.
    OriginMoved,
    /// The last zero was off.
    Off {
        /// The error of the last zero; `None` in entries of old versions that do not give it.
        by: Option<Quantity>,
        /// Every slot is filled, so this zero also closes the series.
        full: bool,
    },
    /// The series has had no good zero yet.
    Opening,
    /// The plan requires a zero every this number of pieces.
    Pieces(u32),
    /// The plan requires a zero after this time.
    Time(Duration),
    /// Every slot is filled, and the plan requires a closing zero.
    Closing,
}

impl Due {
    /// The role of the zero frame that is due.
    pub fn role(self) -> ZeroRole {
        match self {
            Self::Opening => ZeroRole::Opening,
            Self::Closing | Self::Off { full: true, .. } => ZeroRole::Closing,
            Self::OriginMoved | Self::Off { full: false, .. } | Self::Pieces(_) | Self::Time(_) => {
                ZeroRole::Periodic
            }
        }
    }

    /// Why a reading taken before this zero does not count.
    pub(super) fn refuses(self) -> NotCounted {
        match self {
            Self::OriginMoved => NotCounted::OriginMoved,
            Self::Off { full: false, .. } => NotCounted::ZeroOff,
            Self::Closing | Self::Off { full: true, .. } => NotCounted::SeriesFull,
            Self::Opening | Self::Pieces(_) | Self::Time(_) => NotCounted::ZeroDue,
        }
    }
}

impl fmt::Display for Due {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::OriginMoved => f.write_str(
                "ZERO was pressed with the jaws open: close them, press ZERO, then the data key",
            ),
            Self::Off { by: Some(by), .. } => write!(f, "the zero is off by {by}"),
            Self::Off { by: None, .. } => f.write_str("the last zero was off"),
            Self::Opening => f.write_str("before the first reading"),
            Self::Pieces(1) => f.write_str("the plan requires a zero every piece"),
            Self::Pieces(pieces) => write!(f, "the plan requires a zero every {pieces} pieces"),
            Self::Time(time) => match time.as_secs() / 60 {
                1 => f.write_str("the plan requires a zero every minute"),
                minutes => write!(f, "the plan requires a zero every {minutes} minutes"),
            },
            Self::Closing => {
                f.write_str("all pieces are measured, and the closing zero vouches for them")
            }
        }
    }
}

/// Why a zero of `instrument` is due; `None` if none is. Without `now`, zeros due by time are left out.
pub fn due(
    state: &State,
    series: &SeriesState,
    instrument: &str,
    now: Option<WallMicros>,
) -> Option<Due> {
    // The series does not measure with this instrument.
    series.spec.instrument(instrument)?;
    if state
        .instruments
        .get(instrument)
        .is_some_and(|known| known.opening.is_some())
    {
        return Some(Due::OriginMoved);
    }
    let policy = &series.spec.zero;
    let zero = series.zeros.get(instrument);
    let next = order::next(series);
    let full = next.is_none();
    if let Some(off) = zero.filter(|zero| zero.off) {
        // After the last slot the next good zero is the closing one.
        let full = full && policy.closing;
        let by = off.off_by;
        return Some(Due::Off { by, full });
    }
    if full {
        let used = series
            .readings
            .iter()
            .any(|reading| *reading.instrument == *instrument);
        let closed = zero.is_some_and(|zero| zero.closed);
        return (policy.closing && used && !closed).then_some(Due::Closing);
    }
    let Some(since) = last_good_or_start(series, instrument) else {
        return Some(Due::Opening);
    };
    let text = zero.is_some_and(|zero| zero.time_due);
    let (piece, _) = next?;
    due_by_pieces(series, instrument, piece)
        .or_else(|| policy.every.filter(|_| text).map(Due::Time))
        .or_else(|| due_by_time(policy, since, now?))
}

/// When the last good zero was, or the start of the series where no zero is required before the first reading; `None`
/// while that first zero is missing.
pub(super) fn last_good_or_start(series: &SeriesState, instrument: &str) -> Option<WallMicros> {
    let zero = series.zeros.get(instrument);
    let last_good = zero.and_then(|zero| zero.last_good).map(|(_, at)| at);
    last_good.or_else(|| (!series.spec.zero.before_first).then_some(series.since))
}

/// Whether the plan requires a zero before a reading of this piece. In the order `by_value` the operator may take
/// another piece than the prompt says.
pub(super) fn due_by_pieces(series: &SeriesState, instrument: &str, piece: u32) -> Option<Due> {
    let every = series.spec.zero.every_pieces?;
    let zero = series.zeros.get(instrument);
    let last_good = zero.and_then(|zero| zero.last_good).map(|(seq, _)| seq);
    let since = series
        .readings
        .iter()
        .filter(|reading| Some(reading.seq) > last_good && *reading.instrument == *instrument);
    let handled = match series.spec.order {
        // Each reading is of another piece.
        Order::ByAxis => since.count(),
        // Only whole pieces count, so that no zero falls between height and width of one piece.
        Order::ByPiece | Order::ByValue => {
            let mut pieces: Vec<u32> = since
                .map(|reading| reading.piece)
                .filter(|taken| *taken != piece)
                .collect();
            pieces.sort_unstable();
            pieces.dedup();
            pieces.len()
        }
    };
    (u32::try_from(handled).ok()? >= every).then_some(Due::Pieces(every))
}

fn due_by_time(policy: &ZeroPolicy, since: WallMicros, now: WallMicros) -> Option<Due> {
    let every = policy.every?;
    time_left(every, since, now)
        .is_zero()
        .then_some(Due::Time(every))
}

/// Time left until the next zero, if one is required every `every` and the last was at `since`.
pub(super) fn time_left(every: Duration, since: WallMicros, now: WallMicros) -> Duration {
    let passed = now.0.saturating_sub(since.0);
    if passed < -SLEWED_MICROS {
        // The zero lies in the future, so the clock was set back while the daemon was off. The zero's age is unknown:
        // it is due.
        return Duration::ZERO;
    }
    every.saturating_sub(Duration::from_micros(u64::try_from(passed).unwrap_or(0)))
}

/// A value that is a zero.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct ZeroFrame {
    /// Whether the value is within the limit for zeros.
    pub(super) ok: bool,
}

/// The zero frame that a value is; `None` if it is a reading. A value is a zero if the operator announced one, or if it
/// cannot be a measurement. In a series [`ArmedSpec::attempts_within`] decides that; otherwise the band does. A plateau
/// is a zero if one of its values is, and its worst value decides whether it is good.
pub(super) fn zero_frame(
    captured: &Captured,
    resolution: Quantity,
    series: Option<(&ArmedSpec, &ArmedInstrument)>,
    must_be_said: bool,
    said: bool,
) -> Option<ZeroFrame> {
    let policy = series.map_or_else(ZeroPolicy::default, |(spec, _)| spec.zero);
    let counts = |counts: u32| resolution.base().saturating_mul(i64::from(counts));
    let value = captured.nearest_to_zero();
    let off_by = |value: Measured| value.quantity().base().saturating_abs();
    let limit = counts(policy.limit_counts);
    let attempts = series.and_then(|(spec, armed)| spec.attempts_within(armed));
    let within = attempts.map_or(counts(policy.band_counts), |within| within.max(limit));
    let is_near = value.quantity().dimension() == resolution.dimension() && off_by(value) <= within;
    let is_measurement = || {
        let in_other_unit = |(spec, armed)| plausible::in_other_unit(value, armed, spec);
        series.and_then(in_other_unit).is_some()
    };
    let is_zero = said || (is_near && !must_be_said && !is_measurement());
    is_zero.then_some(ZeroFrame {
        ok: off_by(captured.judged(0)) <= limit,
    })
}

/// Whether an instrument of the series still needs its closing zero.
pub(super) fn closing_owed(state: &State, series: &SeriesState) -> bool {
    series
        .spec
        .instruments
        .iter()
        .any(|instrument: &ArmedInstrument| due(state, series, &instrument.name, None).is_some())
}

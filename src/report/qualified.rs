//! The qualifications of a shop as a report: the matrix of combinations, made again from the journal.
//!
//! The frame of the matrix (the rule, the limits of the sheets, the checks of the tools) comes from the configuration.
//! It is in the data of the page, so that the page can be made again, but no journal vouches for it.

use crate::entry::State;
use crate::entry::qualifying::Combination;
use crate::qualification::{Frame, FrameColumn, FrameRow, Matrix, Required, Standing};
use crate::quantity::{Area, Decimal, WallMicros};
use crate::spec::{AxisName, QualificationRule, SizingSystem, ToolCare, WireSize};
use serde_json::{Map, Value, json};

/// The matrix with its frame.
#[derive(Debug, Clone)]
pub struct QualifiedReport {
    /// The part from the configuration.
    pub frame: Frame,
    /// The matrix that follows from the journal.
    pub matrix: Matrix,
    /// Combinations with series for which the frame has no cell.
    pub left_out: Vec<Combination>,
}

impl QualifiedReport {
    /// The matrix for a frame and a state, on a day.
    pub(super) fn new(frame: Frame, state: &State, now: WallMicros) -> Self {
        let left_out = frame.left_out(&state.qualifying);
        Self {
            matrix: Matrix::of(&frame, state, now),
            left_out: left_out.into_iter().cloned().collect(),
            frame,
        }
    }

    /// Number of combinations with this standing.
    pub fn count(&self, standing: Standing) -> usize {
        let cells = self.matrix.cells();
        cells.filter(|cell| cell.found.standing == standing).count()
    }
}

/// The parts of the frame that the journal cannot vouch for, in words.
pub(super) fn in_words(frame: &Frame) -> String {
    let rule = &frame.rule;
    format!(
        "{} pieces, Ppk {}, {} months, {} rows, {} columns",
        rule.pieces,
        Decimal::new(rule.ppk_hundredths.into(), 2),
        rule.months,
        frame.rows.len(),
        frame.columns.len()
    )
}

/// The frame as data.
pub(super) fn value(frame: &Frame) -> Value {
    let rule = &frame.rule;
    json!({
        "pieces": rule.pieces,
        "ppk_hundredths": rule.ppk_hundredths,
        "pull": rule.pull,
        "months": rule.months,
        "columns": frame.columns.iter().map(column).collect::<Vec<_>>(),
        "rows": frame.rows.iter().map(row).collect::<Vec<_>>(),
    })
}

fn object<const N: usize>(known: [(&str, Option<Value>); N]) -> Value {
    let known = known.into_iter();
    let known = known.filter_map(|(name, value)| Some((name.to_owned(), value?)));
    Value::Object(known.collect::<Map<_, _>>())
}

fn column(column: &FrameColumn) -> Value {
    let care = column.care.map(|care| {
        object([
            (
                "last_check",
                care.last_check.map(|day| json!(day.to_string())),
            ),
            (
                "check_due",
                care.check_due.map(|day| json!(day.to_string())),
            ),
            (
                "check_every_crimps",
                care.check_every_crimps.map(|every| json!(every)),
            ),
            ("crimps_before", Some(json!(care.crimps_before))),
            ("crimps_at_check", care.crimps_at_check.map(|at| json!(at))),
        ])
    });
    object([
        ("tool", Some(json!(column.tool))),
        ("nest", column.nest.as_ref().map(|nest| json!(nest))),
        ("care", care),
    ])
}

fn row(row: &FrameRow) -> Value {
    let axes = row.required.as_ref().map(|required| {
        let axes = required.0.iter().map(|(axis, limits)| {
            object([
                ("axis", Some(json!(axis.as_str()))),
                (
                    "limits",
                    limits.as_ref().map(|limits| json!(limits.to_string())),
                ),
            ])
        });
        axes.collect::<Vec<_>>()
    });
    object([
        ("terminal", Some(json!(row.terminal))),
        ("wire_mm2", Some(json!(row.wire.area.mm2().to_string()))),
        (
            "wire_gauge",
            row.wire.gauge.as_ref().map(|gauge| json!(gauge)),
        ),
        ("sizing", Some(json!(row.wire.sizing.name()))),
        ("fits", Some(json!(row.fits))),
        ("axes", axes.map(|axes| json!(axes))),
    ])
}

/// The frame of the data; `None` if something is missing or has another form.
pub(super) fn frame(data: &Value) -> Option<Frame> {
    let number = |name: &str| u32::try_from(data.get(name)?.as_u64()?).ok();
    let columns = data.get("columns")?.as_array()?.iter().map(column_of);
    let columns = columns.collect::<Option<Vec<_>>>()?;
    let rows = data.get("rows")?.as_array()?.iter().map(row_of);
    let rows = rows.collect::<Option<Vec<_>>>()?;
    let is_whole = rows.iter().all(|row| row.fits.len() == columns.len());
    is_whole.then_some(Frame {
        rule: QualificationRule {
            pieces: number("pieces")?,
            ppk_hundredths: number("ppk_hundredths")?,
            pull: data.get("pull")?.as_bool()?,
            months: number("months")?,
            require: false,
        },
        columns,
        rows,
    })
}

fn text(data: &Value, name: &str) -> Option<String> {
    data.get(name)?.as_str().map(str::to_owned)
}

/// A field has an unexpected form.
struct OtherForm;

/// A field that may be missing, read by `of`.
fn maybe<T>(
    data: &Value,
    name: &str,
    of: impl Fn(&Value) -> Option<T>,
) -> Result<Option<T>, OtherForm> {
    let found = data.get(name).map(|value| of(value).ok_or(OtherForm));
    found.transpose()
}

fn column_of(data: &Value) -> Option<FrameColumn> {
    Some(FrameColumn {
        tool: text(data, "tool")?,
        nest: maybe(data, "nest", |nest| nest.as_str().map(str::to_owned)).ok()?,
        care: maybe(data, "care", care_of).ok()?,
    })
}

fn care_of(data: &Value) -> Option<ToolCare> {
    let day = |day: &Value| day.as_str()?.parse().ok();
    let every = |every: &Value| u32::try_from(every.as_u64()?).ok();
    Some(ToolCare {
        last_check: maybe(data, "last_check", day).ok()?,
        check_due: maybe(data, "check_due", day).ok()?,
        check_every_crimps: maybe(data, "check_every_crimps", every).ok()?,
        crimps_before: data.get("crimps_before")?.as_u64()?,
        crimps_at_check: maybe(data, "crimps_at_check", Value::as_u64).ok()?,
    })
}

fn row_of(data: &Value) -> Option<FrameRow> {
    let fits = data.get("fits")?.as_array()?.iter().map(Value::as_bool);
    let one_axis = |axis: &Value| {
        let limits = maybe(axis, "limits", |limits| limits.as_str()?.parse().ok()).ok()?;
        Some((AxisName::new(text(axis, "axis")?), limits))
    };
    let required = maybe(data, "axes", |axes| {
        let axes = axes.as_array()?.iter().map(one_axis);
        Some(Required(axes.collect::<Option<_>>()?))
    });
    Some(FrameRow {
        terminal: text(data, "terminal")?,
        wire: WireSize {
            area: Area::from_mm2(text(data, "wire_mm2")?.parse().ok()?)?,
            gauge: maybe(data, "wire_gauge", |gauge| {
                gauge.as_str().map(str::to_owned)
            })
            .ok()?,
            sizing: SizingSystem::from_name(&text(data, "sizing")?)?,
        },
        required: required.ok()?,
        fits: fits.collect::<Option<_>>()?,
    })
}

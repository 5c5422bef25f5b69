//! Reads the sizes of a row: one size, or a range as makers print it, `1.0-1.5`.

use super::grid::GridRow;
use super::heading::{Target, WireUnit};
use super::number::decimal;
use super::rows::Reader;
use crate::config::faults::{At, Fault, quoted};
use crate::quantity::Area;
use crate::spec::wire::{WireError, gauge, resolve};
use crate::spec::{WireRequest, WireSize};

impl Reader<'_> {
    /// The size of a row; for a range its smallest and its largest.
    pub(super) fn sizes(
        &mut self,
        row: &GridRow,
        line: usize,
    ) -> Option<(WireSize, Option<WireSize>)> {
        let (wire, beside) = self.layout.wires();
        let at = wire?;
        let heading = self.layout.columns.get(at)?.as_ref()?;
        let Target::Wire(unit) = heading.target else {
            return None;
        };
        let here = row.cells.get(at)?;
        let unit = unit.or(self.ask.wire_unit);
        let Some((from, to)) = range(&here.value) else {
            let wire = self.wire(&here.value, unit, here)?;
            let printed = beside.map_or("", |column| row.text(column));
            self.note_of_gauge(&wire, printed, line);
            return Some((wire, None));
        };
        let from = self.wire(&from, unit, here)?;
        let to = self.wire(&to, unit, here)?;
        // The gauge of the thinner wire has the higher number, and sheets begin with either.
        let (from, to) = if from.gauge.is_none() || from.area <= to.area {
            (from, to)
        } else {
            (to, from)
        };
        if from.area < to.area {
            return Some((from, Some(to)));
        }
        let got = format!("{} is no range of sizes", quoted(&here.value));
        let fault = Fault::new(got, "want the smaller size first, then the larger one");
        self.faults.add(&here.place, fault);
        None
    }

    /// The size in a part of a cell; if it is faulty, the fault is reported.
    fn wire(&mut self, size: &str, unit: Option<WireUnit>, cell: &At<String>) -> Option<WireSize> {
        let text = match self.wire_text(size, unit) {
            Ok(text) => text,
            Err(fault) => {
                if let Some(fault) = fault {
                    self.faults.add(&cell.place, fault);
                }
                return None;
            }
        };
        let is_area = text.parse::<Area>().is_ok();
        let sizing = if is_area { None } else { self.ask.sizing };
        match resolve(&WireRequest { text, sizing }) {
            Ok(wire) => Some(wire),
            Err(error) => {
                self.add_wire_fault(&error, cell);
                None
            }
        }
    }

    /// The size in the form of our sheets. An error without a fault was reported for an earlier row.
    fn wire_text(&mut self, cell: &str, unit: Option<WireUnit>) -> Result<String, Option<Fault>> {
        let lower = cell.to_lowercase();
        let stripped = lower.trim_start_matches('#').trim();
        let number = stripped
            .trim_end_matches("mm²")
            .trim_end_matches("mm2")
            .trim_end_matches("mm^2")
            .trim();
        let says_mm2 = number.len() < stripped.len();
        let is_bare = |text: &str| {
            !text.is_empty()
                && text
                    .chars()
                    .all(|c| c.is_ascii_digit() || matches!(c, '.' | ',' | '/'))
        };
        let reading = self.reading;
        let mm2 = |number: &str| {
            let read = decimal(number, reading.mark, reading.grouped);
            read.map(|read| format!("{read} mm²")).ok_or_else(|| {
                let got = format!("{} is not a size in mm²", quoted(cell));
                Some(Fault::new(
                    got,
                    format!("want a number with a decimal {}", reading.mark),
                ))
            })
        };
        if says_mm2 {
            return mm2(number);
        }
        if !is_bare(number) {
            return Ok(if stripped.is_empty() {
                cell.to_owned()
            } else {
                stripped.to_owned()
            });
        }
        match unit {
            Some(WireUnit::Mm2) => mm2(number),
            Some(WireUnit::Gauge) => Ok(format!("{number} ga")),
            None if lower.starts_with('#') => Ok(format!("{number} ga")),
            None => Err(self.is_first("wire without a unit").then(|| {
                Fault::new(
                    format!("neither {} nor its heading has a unit", quoted(cell)),
                    "want a size in mm² or a gauge",
                )
                .help("add --wire-unit mm2 or --wire-unit awg")
            })),
        }
    }

    fn add_wire_fault(&mut self, error: &WireError, cell: &At<String>) {
        let want = "want a size in mm² or a gauge";
        let (missing, help) = match error {
            WireError::SizingMissing { .. } | WireError::NotInSystem { .. } => (
                true,
                "name the system of the gauges: --sizing sae_metric or --sizing awg_area; \
                 tallyjaw wire shows both"
                    .to_owned(),
            ),
            WireError::NotASize { .. }
            | WireError::MakeUp { .. }
            | WireError::UnknownGauge { .. }
            | WireError::AreaWithGaugeSystem { .. } => (false, error.remedy()),
        };
        // Without a sizing system the fault would repeat in every row.
        if missing && self.ask.sizing.is_none() && !self.is_first("sizing") {
            return;
        }
        self.faults
            .add(&cell.place, Fault::new(error.to_string(), want).help(help));
    }

    /// Notes a gauge beside a size in mm², if no sizing table has that pair.
    fn note_of_gauge(&mut self, wire: &WireSize, printed: &str, line: usize) {
        let name = printed.to_lowercase();
        let name = name.trim_matches(|c: char| !(c.is_ascii_digit() || c == '/'));
        let Some(gauge) = gauge(name) else {
            return;
        };
        let area = wire.area;
        let paired = [Some(gauge.awg_area), gauge.sae_metric, gauge.iso_pairing];
        let (area_um2, awg) = (
            area.square_micrometres(),
            gauge.awg_area.square_micrometres(),
        );
        let is_near = area_um2.abs_diff(awg) <= awg / 12;
        if !paired.contains(&Some(area)) && !is_near {
            self.notes.push(format!(
                "line {line}: the sheet has {area} next to gauge {name}, a pair that no table has; \
                 {area} is taken"
            ));
        }
    }
}

/// The ends of a range, each with its unit: `1.0-1.5 mm²`, `20…16`, `0,5 to 1,0`; `None` for one size.
fn range(cell: &str) -> Option<(String, String)> {
    let number = |c: char| c.is_ascii_digit() || matches!(c, '.' | ',' | '/');
    let mut apart = ["..", "…", " to ", "–", "-"].into_iter();
    let (from, to) = apart.find_map(|sign| cell.split_once(sign))?;
    let (from, to) = (from.trim(), to.trim());
    if !from.contains(|c: char| c.is_ascii_digit()) || !to.contains(|c: char| c.is_ascii_digit()) {
        return None;
    }
    let unit = to.trim_start_matches(number);
    let is_bare = from.chars().all(number);
    let from = format!("{from}{}", if is_bare { unit } else { "" });
    let mark = if from.starts_with('#') && !to.starts_with('#') {
        "#"
    } else {
        ""
    };
    Some((from, format!("{mark}{to}")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_range_is_told_from_a_size_with_a_sign_in_it() {
        for (cell, want) in [
            ("1.0-1.5", Some(("1.0", "1.5"))),
            ("0,5 – 1,0 mm²", Some(("0,5 mm²", "1,0 mm²"))),
            ("20 to 16 AWG", Some(("20 AWG", "16 AWG"))),
            ("#20-16", Some(("#20", "#16"))),
            ("0.5..1.0", Some(("0.5", "1.0"))),
            ("2.0 mm²", None),
            ("-", None),
            ("1/0 AWG", None),
            ("see note - 3", None),
        ] {
            let want = want.map(|(from, to): (&str, &str)| (from.to_owned(), to.to_owned()));
            assert_eq!(range(cell), want, "{cell}");
        }
    }
}

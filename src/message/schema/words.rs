//! Descriptions of the fields of entries and messages, by name. A name has one meaning everywhere, unless the doc
//! comment of the field describes it.

use schemars::Schema;
use schemars::transform::{Transform, transform_subschemas};
use serde_json::Value;

/// Adds a description to every field without one.
pub(super) struct Words;

impl Transform for Words {
    fn transform(&mut self, schema: &mut Schema) {
        if let Some(Value::Object(properties)) = schema.get_mut("properties") {
            for (name, property) in properties {
                let Value::Object(property) = property else {
                    continue;
                };
                let is_object = property.contains_key("$ref");
                if let Some(words) = of_object(name)
                    .filter(|_| is_object)
                    .or_else(|| words(name))
                    && !property.contains_key("description")
                {
                    property.insert("description".to_owned(), words.into());
                }
            }
        }
        transform_subschemas(self, schema);
    }
}

/// The description of a field that is an object, where a field of that name is something simpler elsewhere.
fn of_object(name: &str) -> Option<String> {
    let words = match name {
        "repeat" => {
            "the next series of a plan that repeats, after one is full and until it is opened"
        }
        "retracted" => "the reading that was retracted last, while it can be restored",
        _ => return None,
    };
    Some(words.to_owned())
}

/// The description of a field, with its unit.
fn words(name: &str) -> Option<String> {
    let said = |name: &str| WORDS.iter().find(|(known, _)| *known == name);
    if let Some((_, words)) = said(name) {
        return Some((*words).to_owned());
    }
    let (stem, unit) = [("_nm", "whole nanometres"), ("_mn", "whole millinewtons")]
        .into_iter()
        .find_map(|(end, unit)| Some((name.strip_suffix(end)?, unit)))?;
    let (_, words) = said(stem)?;
    Some(format!("{words}, in {unit}"))
}

/// Field names with their descriptions; names of lengths and forces without `_nm` and `_mn`.
const WORDS: &[(&str, &str)] = &[
    ("accepted", "whether the verification was accepted"),
    ("adapter", "the USB adapter that belongs to the instrument"),
    (
        "after",
        "send every entry after this number, then new entries as they are written",
    ),
    (
        "alert_rules",
        "run rules (over several readings) that are in force",
    ),
    (
        "alerts",
        "run rules that fired; in arm, the run rules that are in force",
    ),
    (
        "alike",
        "true if the adapter's identity is not unique: it has no serial number, or another adapter has the same one",
    ),
    (
        "answer",
        "the answer to a visual check: good, the crimp is as it should be, or bad",
    ),
    ("as_planned", "whether it is the tool that the plan names"),
    ("asks_pull_mode", "whether it is asked how each pull failed"),
    ("at", "time, RFC 3339 in UTC with microseconds"),
    ("attached", "the open port; left out while none is open"),
    (
        "attempt",
        "a length within this distance of zero is an attempt at a zero; \"0.5 mm\" if left out",
    ),
    ("axes", "the axes, each with its limits"),
    ("axis", "the axis"),
    ("bad", "number of visual checks answered bad"),
    ("bad_sample", "the series of the last sample, if it was bad"),
    (
        "band",
        "forces: a value within this many resolution steps of zero is a zero",
    ),
    (
        "band_counts",
        "forces: a value within this many resolution steps of zero is a zero",
    ),
    (
        "before_first",
        "whether a zero is required before the first reading",
    ),
    ("blocks", "gauge blocks"),
    (
        "by",
        "how it was done: command (the control socket: command line, page or program), card, pedal, or double_zero (two zeros within two seconds)",
    ),
    (
        "by_us",
        "how far the wall clock stepped, in whole microseconds",
    ),
    ("bytes", "number of bytes"),
    ("calibrated", "date of the last calibration"),
    (
        "calibration_due",
        "the last day on which the calibration is valid",
    ),
    (
        "care",
        "of an instrument: its calibration and how often it is verified; of a tool: its last check, when the next is due, and its crimps",
    ),
    (
        "cause",
        "why crimps are held: bad_sample (counted since the last good sample), after_bad_sample (counted between a bad sample and the next good one) or not_sampled (counted after the last sample that could vouch for them)",
    ),
    ("check_due", "the last day on which the check is valid"),
    (
        "check_every_crimps",
        "the number of crimps after which it is checked again",
    ),
    ("class", "production or repair"),
    (
        "closed",
        "whether a good closing zero came after the last reading",
    ),
    (
        "closed_by",
        "what closed the run: last_off, its last-off sample, or another_run, the first-off of another run",
    ),
    (
        "closing",
        "whether a zero is required after the last reading",
    ),
    ("config_digest", "SHA-256 of the configuration files, hex"),
    ("crimped", "pieces that were counted as crimps of the tool"),
    (
        "crimps",
        "number of crimps, by this tool or counted in a production run",
    ),
    (
        "crimps_at_check",
        "the tool's total number of crimps at its last check",
    ),
    (
        "crimps_before",
        "the tool's number of crimps before this journal began",
    ),
    (
        "decided",
        "number of crimps of the run that are vouched for, held or settled",
    ),
    ("decision", "decision rule: simple or guarded"),
    ("detached_because", "why the port was lost"),
    ("deviation", "value less nominal"),
    (
        "double_retracts",
        "whether two zero frames within two seconds retract the last reading",
    ),
    (
        "doubted",
        "number of doubted readings: no zero vouches for them any more",
    ),
    ("every_minutes", "a zero is required every N minutes"),
    ("every_pieces", "a zero is required every N pieces"),
    ("every_s", "a zero is required every N seconds"),
    ("failed", "number of counted readings that failed"),
    ("first", "the first"),
    (
        "first_crimp",
        "the first of the crimps by its number in the run, from 1",
    ),
    ("first_entry", "the first entry that the command made"),
    ("first_off", "the plan whose good sample opens the run"),
    ("frames", "number of frames"),
    ("from", "the lower end"),
    ("from_mm2", "smallest size, in mm²"),
    ("good", "number of visual checks answered good"),
    ("greatest", "maximum of the plateau"),
    (
        "guard_factor",
        "width of the guard band in standard uncertainties",
    ),
    ("guards", "guard band for each instrument"),
    ("held", "the entry that holds crimps"),
    ("hint", "what the value may be instead, in words"),
    ("holders", "other programs that have the port open now"),
    ("holds", "held crimps that are not settled"),
    ("id", "its name; of a series, the number of its armed entry"),
    (
        "identity",
        "vendor, product and serial number of the USB adapter",
    ),
    ("in_process", "the plan of the samples in between"),
    ("instrument", "the instrument"),
    ("instruments", "the instruments"),
    ("is", "the adapter that is present now"),
    (
        "is_followed",
        "whether the arming that stopped this series has been entered",
    ),
    (
        "job",
        "what the pieces are for; none if the last job is over",
    ),
    (
        "journal",
        "name of the journal; journal and seq together identify an entry worldwide",
    ),
    ("kind", "kind of line"),
    ("last", "the newest entry"),
    ("last_check", "the day of its last check"),
    (
        "last_crimp",
        "the last of the crimps by its number in the run",
    ),
    ("last_entry", "the last entry that the command made"),
    ("last_good", "the last good zero"),
    ("last_good_sample", "the last good sample"),
    ("last_off", "the plan whose good sample closes the run"),
    ("last_outcome", "outcome of the last closed series"),
    ("last_reading", "the last reading"),
    ("least", "minimum of the plateau"),
    ("limit", "a zero is good within this many resolution steps"),
    (
        "limit_counts",
        "a zero is good within this many resolution steps",
    ),
    (
        "limits_from",
        "source of the limits, if not the maker's sheet",
    ),
    (
        "limits_unit",
        "unit of the limits, if not that of the value",
    ),
    ("line", "speed, data bits, parity, stop bits"),
    ("look", "number of the visual check in the plan, from 1"),
    (
        "looks",
        "visual checks; in completed, how many were answered how; in the state, the answers so far",
    ),
    (
        "looks_per",
        "whether each piece is looked at (piece) or the series as a whole (series)",
    ),
    ("lot", "the lot; none if it is not known"),
    ("lower", "lower limit; a value on it is within limits"),
    ("material", "what it is a lot of"),
    ("max_error", "maximum permissible error"),
    ("median", "median of the plateau"),
    (
        "mode",
        "how the pull failed: pulled_out, broke_at_crimp, broke_in_wire or other",
    ),
    ("name", "its name"),
    (
        "needs",
        "what the maker's sheet additionally requires of its crimps",
    ),
    ("nest", "the nest of the tool"),
    ("nests", "the nests of the tool"),
    ("nominal", "the nominal value of the sheet"),
    ("not_counted", "number of readings that never counted"),
    ("off", "whether the last zero was off"),
    ("ok", "whether the zero is good"),
    (
        "opening",
        "distance of the jaws at which the zero key was pressed",
    ),
    (
        "opening_zeros",
        "zeros from before the arming that open this series too",
    ),
    ("operator", "who measures"),
    ("order", "order of measuring: by_axis, by_piece or by_value"),
    ("outcome", "outcome of the series"),
    (
        "owed",
        "entries that follow from the last sample and are not entered yet",
    ),
    (
        "part",
        "its part in the run: first_off, in_process or last_off",
    ),
    ("passed", "number of counted readings that passed"),
    ("piece", "the piece, from 1"),
    ("pieces", "number of pieces"),
    ("plan", "the plan"),
    ("plateau", "the values of a stream while it stood still"),
    (
        "plausible",
        "plausible window: a value outside does not count, as a likely slip",
    ),
    (
        "points",
        "the readings that run rules look at, oldest first",
    ),
    ("port", "path of the port's device file"),
    ("prev", "SHA-256 of the previous line, hex"),
    ("production", "the production runs of the station"),
    ("production_run", "the settings of the production run"),
    ("pull_mode", "whether it is asked how each pull failed"),
    (
        "pull_modes",
        "how each pull failed, with the number of its reading",
    ),
    ("purpose", "why pieces are measured"),
    ("question", "the question of a visual check"),
    (
        "range",
        "minimum and maximum value that the instrument can show",
    ),
    ("raw", "the bytes as received, hex"),
    ("reading", "the reading, or the number of its entry"),
    ("readings", "the readings, or the numbers of their entries"),
    ("reason", "why"),
    (
        "refused",
        "the last card or pedal press that could not be carried out",
    ),
    ("remedy", "what a person can do"),
    (
        "repeat",
        "whether the next series of the plan opens as soon as this one is full",
    ),
    (
        "repeatability",
        "standard deviation of repeated readings of one piece",
    ),
    ("repeats", "number of measurements of each gauge block"),
    ("resolution", "resolution: the smallest step of the display"),
    (
        "resumable",
        "whether it can be resumed: it was stopped early by an arming, and nothing was measured since",
    ),
    ("retracted", "number of retracted readings"),
    ("rivals", "other programs that have the port open"),
    (
        "role",
        "why the zero was made: opening (before the first reading), periodic (due in between), closing (after the last), unasked (none was due)",
    ),
    ("rule", "the rule that fired"),
    (
        "run",
        "the production run: the number of its run_opened entry",
    ),
    ("run_closed", "a run to close"),
    ("run_opened", "a run to open"),
    (
        "runs",
        "successive readings of one axis by one tool and instrument",
    ),
    (
        "said",
        "what was not carried out: the text of the card, or the action of the pedal",
    ),
    (
        "sample",
        "the production run that the series is a sample of; in the state, the open series if it is a sample",
    ),
    (
        "sample_every_crimps",
        "a sample is due after this number of crimps",
    ),
    (
        "sample_every_minutes",
        "a sample is due this number of minutes after the last good one",
    ),
    (
        "sample_of",
        "the production run that the series is a sample of",
    ),
    ("sample_time_due", "whether a sample became due by time"),
    ("seq", "number of the entry, from 1, without gaps"),
    ("series", "the series, or the number of its armed entry"),
    (
        "settings",
        "changed line settings that were found and reset",
    ),
    ("settled", "number of held crimps that are settled"),
    (
        "settlement",
        "what becomes of held crimps: release, rework or scrap",
    ),
    ("since", "start time, RFC 3339 in UTC"),
    (
        "sizing",
        "sizing system in which the gauge was resolved; iso_mm2 if left out",
    ),
    (
        "socket",
        "where the USB adapter is plugged in: controller, chain of sockets, interface",
    ),
    ("source", "source of the limits"),
    ("spec", "the armed specification"),
    (
        "spent",
        "destroyed by measuring, then retracted: another piece is measured instead",
    ),
    ("standing", "whether it counts"),
    ("state", "the state that follows from all entries so far"),
    ("station", "the station"),
    ("strands", "make-up of the wire: strands and their diameter"),
    ("stations", "the stations"),
    (
        "stopped",
        "the series that the last start stopped early, while it can be resumed",
    ),
    (
        "stopped_sample",
        "the sample that the last arming stopped early",
    ),
    ("tablet", "the name of the tablet"),
    (
        "takes_back",
        "the reading that one more zero within two seconds retracts",
    ),
    ("tally", "number of readings by verdict and standing"),
    ("terminal", "the terminal"),
    ("terminal_name", "what the sheet calls the terminal"),
    ("terminal_lot", "the lot of the terminals"),
    (
        "test_uncertainty_ratio",
        "half the tolerance over twice the standard uncertainty",
    ),
    ("text", "text for people"),
    ("time_due", "whether a zero is due by time"),
    ("times", "number of occurrences"),
    ("to", "the upper end"),
    ("to_mm2", "largest size, in mm²"),
    (
        "told",
        "the run rules that hold now and were reported: none of them is reported again before it stops holding",
    ),
    ("tool", "the crimp tool"),
    ("tools", "the crimp tools"),
    ("uncertainty", "uncertainty of the block's length"),
    ("unit", "the unit in which the instrument showed it"),
    ("unsure", "number of counted readings within a guard band"),
    ("upper", "upper limit"),
    (
        "usb",
        "vendor, product and serial number that the USB adapter reports",
    ),
    ("v", "format version; fields may be added within a version"),
    (
        "value",
        "the value in `unit`, with the digits that the instrument showed",
    ),
    ("verdict", "the verdict"),
    ("verified", "its last verification"),
    (
        "verify_every_days",
        "the number of days after which it is verified again",
    ),
    ("version", "version of the daemon"),
    ("vouched", "number of crimps that good samples vouch for"),
    ("warning", "what looks wrong and was accepted"),
    ("warnings", "warnings given at arming"),
    ("was", "the adapter that belonged to the instrument so far"),
    ("width", "width of the guard band"),
    ("wire", "the wire"),
    ("wire_gauge", "the gauge by which the wire was named"),
    ("wire_lot", "the lot of the wire"),
    ("wire_mm2", "conductor size in mm²"),
    (
        "without_run",
        "number of crimps counted while no run is open",
    ),
    ("zero", "when a zero is required"),
    (
        "zero_must_be_said",
        "whether the operator must announce a zero, because an axis may have values near zero",
    ),
    (
        "zero_said",
        "whether a zero was announced and has not come yet",
    ),
    ("zeroed", "the zeroed entry"),
    ("zeros", "state of the zero of each instrument"),
];

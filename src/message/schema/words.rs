//! What the fields of entries and messages mean, by their names: a name means the same wherever it stands, unless
//! the type that has it says otherwise.

use schemars::Schema;
use schemars::transform::{Transform, transform_subschemas};
use serde_json::Value;

/// Puts words to every field that has none.
pub(super) struct Words;

impl Transform for Words {
    fn transform(&mut self, schema: &mut Schema) {
        if let Some(Value::Object(properties)) = schema.get_mut("properties") {
            for (name, property) in properties {
                let Value::Object(property) = property else {
                    continue;
                };
                if let Some(words) = words(name)
                    && !property.contains_key("description")
                {
                    property.insert("description".to_owned(), words.into());
                }
            }
        }
        transform_subschemas(self, schema);
    }
}

/// What a field means, with its unit.
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

/// For each name what it means; of lengths and forces without `_nm` and `_mn`.
const WORDS: &[(&str, &str)] = &[
    ("accepted", "whether the verification was accepted"),
    ("adapter", "the USB adapter that is meant"),
    (
        "after",
        "give me every entry behind this one, then what comes",
    ),
    (
        "alert_rules",
        "rules over several readings that are in force",
    ),
    (
        "alerts",
        "rules over several readings that fired; in arm, the rules that may",
    ),
    (
        "alike",
        "the identity of the adapter is not unique: it has no serial number, or another one has the same",
    ),
    ("as_planned", "whether it is the tool that the plan names"),
    ("at", "when, RFC 3339 in UTC with six digits of the second"),
    (
        "attempt",
        "a length this close to zero is an attempt at a zero; \"0.5 mm\" if left out",
    ),
    ("attached", "the port, while there is one"),
    ("axes", "what is measured, with limits"),
    ("axis", "what is measured"),
    ("band", "of forces: counts within which a value is a zero"),
    (
        "band_counts",
        "of forces: counts within which a value is a zero",
    ),
    ("before_first", "a zero before the first reading"),
    ("blocks", "gauge blocks"),
    ("by", "by what means"),
    (
        "by_us",
        "how far the wall clock stepped, in whole microseconds",
    ),
    ("bytes", "how many bytes"),
    ("calibrated", "the day of its calibration"),
    (
        "calibration_due",
        "the last day on which the calibration is valid",
    ),
    ("care", "when it was checked and is to be"),
    ("check_due", "the last day on which the check is valid"),
    (
        "check_every_crimps",
        "the number of crimps after which it is checked again",
    ),
    ("class", "production, or repair"),
    ("closed", "whether the closing zero is done"),
    ("closing", "a zero behind the last reading"),
    ("config_digest", "SHA-256 of the configuration's files"),
    ("crimped", "pieces that were counted as crimps of the tool"),
    ("crimps", "crimps by this tool"),
    (
        "crimps_at_check",
        "its crimps in all when it was last checked",
    ),
    ("crimps_before", "its crimps before this journal began"),
    ("decision", "how limits are applied"),
    ("detached_because", "why there is no port"),
    ("deviation", "value less nominal"),
    (
        "double_retracts",
        "two zero frames within two seconds retract the last reading",
    ),
    ("doubted", "how many a zero no longer vouches for"),
    ("every_minutes", "a zero is required every N minutes"),
    ("every_pieces", "a zero is required every N pieces"),
    ("every_s", "a zero is required every N seconds"),
    ("failed", "how many failed"),
    ("first", "the first"),
    ("frames", "how many frames"),
    ("from", "the lower end"),
    ("greatest", "the maximum while the value stood still"),
    (
        "guard_factor",
        "by how many standard uncertainties the limits are drawn in",
    ),
    (
        "guards",
        "for each instrument how far the limits are drawn in",
    ),
    ("hint", "what it may be instead"),
    (
        "holders",
        "the programs that have the port open beside us now",
    ),
    ("id", "its name, or of a series its number"),
    ("identity", "of the USB adapter"),
    ("instrument", "the instrument"),
    ("is_followed", "whether the arming that stopped it has come"),
    ("instruments", "the instruments"),
    ("is", "the adapter that is there"),
    (
        "journal",
        "name of the journal; with seq an entry's address in the world",
    ),
    ("kind", "what the line is"),
    ("last", "the newest entry"),
    ("last_check", "the day of its last check"),
    ("last_good", "the last good zero"),
    ("last_outcome", "how the last series came out"),
    ("last_reading", "the last reading"),
    ("least", "the minimum while the value stood still"),
    ("limit", "counts within which a zero is good"),
    ("limit_counts", "counts within which a zero is good"),
    (
        "limits_from",
        "where the limits are from, if not from the sheet",
    ),
    (
        "limits_unit",
        "the unit in which limits are shown, if another than that of the value",
    ),
    ("line", "speed, data bits, parity, stop bits"),
    ("lower", "the lower limit; it belongs to the good values"),
    ("max_error", "the largest error that its calibration allows"),
    ("median", "the middle value while it stood still"),
    ("name", "its name"),
    ("needs", "what its crimps need besides"),
    ("nest", "the nest of the tool"),
    ("nests", "the nests of the tool"),
    ("nominal", "the nominal value of the sheet"),
    ("not_counted", "how many never counted"),
    ("off", "whether the last zero was off"),
    ("ok", "whether the zero is good"),
    ("opening", "a known opening at which the origin was set"),
    (
        "opening_zeros",
        "zeros from before the arming that vouch for it",
    ),
    ("operator", "who measures"),
    ("order", "the order of readings"),
    ("outcome", "how the series came out"),
    ("passed", "how many passed"),
    ("piece", "the piece, from 1"),
    ("pieces", "how many pieces"),
    ("plan", "the plan"),
    ("plateau", "how it stood still in a stream"),
    ("plausible", "beyond these a reading is taken for a slip"),
    ("points", "readings in a row that the rules look at"),
    ("port", "the device"),
    ("prev", "SHA-256 of the line before"),
    ("purpose", "why pieces are measured"),
    ("range", "what it can show"),
    ("raw", "the bytes as they came, hex"),
    ("reading", "the reading: its entry, or itself"),
    ("readings", "the readings: their entries, or themselves"),
    ("reason", "why"),
    ("refused", "what was said last and could not be done"),
    ("remedy", "what a person can do"),
    (
        "repeat",
        "whether the next series opens at once, or that it is due",
    ),
    (
        "repeatability",
        "standard deviation of repeated readings of one piece",
    ),
    ("repeats", "how often each gauge block is measured"),
    ("resolution", "the smallest step of its display"),
    (
        "resumable",
        "stopped early by an arming: it can be resumed until something is measured",
    ),
    (
        "retracted",
        "how many the operator retracted; of a series the last one, while that can be undone",
    ),
    ("rivals", "the programs that have the port open beside us"),
    ("role", "what the zero is for"),
    ("rule", "the rule that fired"),
    ("runs", "readings in a row by one tool"),
    ("said", "what was said"),
    ("seq", "number of the entry"),
    (
        "series",
        "the series: the number of its armed entry, or itself",
    ),
    (
        "settings",
        "the line settings that were found, and set back",
    ),
    ("since", "since when, RFC 3339 in UTC"),
    (
        "sizing",
        "the system that leads from gauge to size; iso_mm2 where it is left out",
    ),
    (
        "socket",
        "where the USB adapter is plugged in: controller, chain of sockets, interface",
    ),
    ("source", "where the limits are from"),
    ("spec", "what it was armed with"),
    (
        "spent",
        "destroyed by measuring and retracted: other pieces are measured instead",
    ),
    ("standing", "whether it counts"),
    ("state", "what all entries so far amount to"),
    ("station", "the station"),
    ("stations", "the stations"),
    ("takes_back", "the reading that a second zero would retract"),
    (
        "stopped",
        "the series that the last arming stopped early, while it can be resumed",
    ),
    ("tally", "how many readings came out how"),
    ("terminal", "the terminal"),
    (
        "test_uncertainty_ratio",
        "half the tolerance over twice the standard uncertainty",
    ),
    ("text", "words"),
    ("time_due", "whether a zero is due by time"),
    ("times", "how often"),
    ("to", "the upper end"),
    ("told", "rules that have fired"),
    ("tool", "the crimp tool"),
    ("tools", "the crimp tools"),
    ("uncertainty", "its own uncertainty"),
    ("unit", "the unit in which the instrument showed it"),
    ("unsure", "how many are within guard bands"),
    ("upper", "upper limit"),
    ("usb", "what the USB adapter says of itself"),
    ("v", "the version; fields may be added within one"),
    (
        "value",
        "the value with the digits that the instrument showed, in unit",
    ),
    ("verdict", "what was judged"),
    ("verified", "its last verification"),
    (
        "verify_every_days",
        "the number of days after which it is verified again",
    ),
    ("version", "of the daemon"),
    ("warnings", "what was warned of at arming"),
    ("was", "the adapter that was meant so far"),
    ("width", "how far the limits are drawn in"),
    ("wire", "the wire"),
    ("wire_gauge", "the gauge that the wire was named by"),
    ("wire_mm2", "the wire's size in mm²"),
    ("zero", "when the zero is checked"),
    (
        "zero_must_be_said",
        "whether a zero must be said, since an axis may itself read near zero",
    ),
    ("zero_said", "whether a zero was said, and has not come yet"),
    ("zeroed", "the zeroed entry"),
    ("zeros", "for each instrument, how its zero stands"),
];

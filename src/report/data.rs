//! The data of a report for programs: one JSON object in the page, and reading it back.
//!
//! It is ASCII, without characters that have a meaning in HTML.

use super::comparison::{Compare, Group};
use super::copies::{Copies, most_shown, pictured};
use super::facts::{Facts, ReportReading};
use super::{LAYOUT, Report, qualified};
use crate::entry::production::history::RunRecord;
use crate::entry::{JournalId, Seq};
use crate::letterhead::{Letterhead, Logo, PageSize};
use crate::qualification::Frame;
use crate::quantity::{Dimension, OffsetFrom, Quantity, WallMicros, Zone};
use crate::spec::Settlement;
use serde_json::{Value, json};
use std::fmt::Write as _;
use std::sync::Arc;

/// The id of its element.
pub(super) const ID: &str = "tallyjaw-report";

/// How a report was made: enough to make it again from its journal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Made {
    /// The layout of the page.
    pub layout: u32,
    /// The release.
    pub version: String,
    /// Wall clock, when the page was written.
    pub at: WallMicros,
    /// The zone of its times, with the offsets that the page lists.
    pub zone: Zone,
    /// The id of the journal.
    pub journal: JournalId,
    /// The last entry that it includes.
    pub last: Seq,
    /// The query, each option with its value.
    pub query: Vec<(String, String)>,
    /// The groups that were compared, if there are any.
    pub compare: Option<Compare>,
    /// Whether it has an appendix.
    pub full: bool,
    /// The series, each by the `seq` of its entry `armed`.
    pub series: Vec<Seq>,
    /// The production run that the report is about.
    pub run: Option<Seq>,
    /// The rows and columns of a report of qualifications.
    pub qualified: Option<Frame>,
    /// The letterhead of the shop that made it.
    pub letterhead: Arc<Letterhead>,
    /// The small copies of pictures in the page.
    pub copies: Arc<Copies>,
    /// The entries whose pictures are missing by the page.
    pub missing: Vec<Seq>,
    /// Whether it holds the journal's lines.
    pub checkable: bool,
}

impl Made {
    /// Reads the data of a page, with the address of its logo and its pictures; `None` if something is missing or has
    /// another type.
    pub fn from_data(data: &Value, logo: Option<&str>, copies: Copies) -> Option<Self> {
        let text = |value: &Value| value.as_str().map(str::to_owned);
        let pair = |pair: &Value| Some((text(pair.get(0)?)?, text(pair.get(1)?)?));
        Some(Self {
            layout: u32::try_from(data.get("layout")?.as_u64()?).ok()?,
            version: text(data.get("version")?)?,
            at: data.get("made")?.as_str()?.parse().ok()?,
            zone: zone_of(data.get("offsets")?, data.get("zone"))?,
            journal: JournalId(text(data.get("journal")?)?),
            last: Seq(data.get("last")?.as_u64()?),
            query: data
                .get("query")?
                .as_array()?
                .iter()
                .map(pair)
                .collect::<Option<_>>()?,
            compare: match data.get("compare") {
                Some(compare) => Some(compare_of(compare)?),
                None => None,
            },
            full: match data.get("full") {
                Some(full) => full.as_bool()?,
                None => false,
            },
            series: data
                .get("series")?
                .as_array()?
                .iter()
                .map(|series| series.get("series")?.as_u64().map(Seq))
                .collect::<Option<_>>()?,
            run: match data.get("run") {
                Some(run) => Some(Seq(run.get("run")?.as_u64()?)),
                None => None,
            },
            qualified: match data.get("qualified") {
                Some(data) => Some(qualified::frame(data)?),
                None => None,
            },
            letterhead: Arc::new(letterhead_of(data.get("shop"), logo)?),
            copies: Arc::new(copies),
            missing: missing_of(data)?,
            checkable: match data.get("checkable") {
                Some(checkable) => checkable.as_bool()?,
                None => false,
            },
        })
    }
}

/// The entries whose pictures are missing by the page.
fn missing_of(data: &Value) -> Option<Vec<Seq>> {
    let series = data.get("series")?.as_array()?.iter();
    let pictures = series.filter_map(|series| series.get("pictures")?.as_array());
    let missing = pictures
        .flatten()
        .filter(|one| one.get("missing").is_some());
    missing
        .map(|one| one.get("seq")?.as_u64().map(Seq))
        .collect()
}

/// The logo's bytes are in the page once, as the visible picture.
fn letterhead_of(shop: Option<&Value>, logo: Option<&str>) -> Option<Letterhead> {
    let Some(shop) = shop else {
        return logo.is_none().then(Letterhead::default);
    };
    let text = |value: &Value| value.as_str().map(str::to_owned);
    let known = |name: &str| shop.get(name);
    Some(Letterhead {
        name: match known("name") {
            Some(name) => Some(text(name)?),
            None => None,
        },
        address: match known("address") {
            Some(lines) => lines.as_array()?.iter().map(text).collect::<Option<_>>()?,
            None => Vec::new(),
        },
        logo: match logo {
            Some(logo) => Some(Logo::of_data_url(logo)?),
            None => None,
        },
        page_size: match known("page_size") {
            Some(size) => Some(PageSize::from_name(size.as_str()?)?),
            None => None,
        },
    })
}

/// `None` if nothing was configured.
fn shop(letterhead: &Letterhead) -> Option<Value> {
    let mut shop = json!({});
    let address = &letterhead.address;
    put(
        &mut shop,
        [
            ("name", letterhead.name.as_ref().map(|name| json!(name))),
            ("address", (!address.is_empty()).then(|| json!(address))),
            (
                "logo_sha256",
                letterhead.logo.as_ref().map(|logo| json!(logo.digest())),
            ),
            (
                "page_size",
                letterhead.page_size.map(|size| json!(size.name())),
            ),
        ],
    );
    let is_known = shop.as_object().is_some_and(|shop| !shop.is_empty());
    is_known.then_some(shop)
}

fn compare_of(data: &Value) -> Option<Compare> {
    let text = |name: &str| data.get(name).and_then(Value::as_str);
    Some(Compare {
        by: Group::from_name(text("by")?)?,
        margin: match text("margin") {
            Some(margin) => Some(margin.parse().ok()?),
            None => None,
        },
        reference: text("reference").map(str::to_owned),
    })
}

fn zone_of(offsets: &Value, name: Option<&Value>) -> Option<Zone> {
    let offset = |pair: &Value| {
        let from = pair.get(0)?.as_str()?.parse().ok()?;
        Some((from, i32::try_from(pair.get(1)?.as_i64()?).ok()?))
    };
    let offsets = offsets.as_array()?.iter().map(offset);
    let name = match name {
        Some(name) => Some(name.as_str()?),
        None => None,
    };
    Zone::listed(offsets.collect::<Option<_>>()?, name)
}

/// The offsets in seconds east of UTC, each with the time from which it holds.
fn offsets(report: &Report) -> Vec<Value> {
    let made = report.asked.made;
    let offsets = report.asked.zone.offsets(made, made).into_iter();
    let pair = |(from, seconds): OffsetFrom| json!([from.to_string(), seconds]);
    offsets.map(pair).collect()
}

/// The data of a report.
pub(super) fn value(report: &Report) -> Value {
    let query = report
        .asked
        .query
        .iter()
        .map(|(name, value)| json!([name, value]));
    let mut object = json!({
        "layout": LAYOUT,
        "version": report.asked.version,
        "made": report.asked.made.to_string(),
        "offsets": offsets(report),
        "journal": report.journal.0,
        "first": report.first.0,
        "last": report.last.0,
        "digest": report.digest.to_string(),
        "query": query.collect::<Vec<_>>(),
        "series": report.series.iter().map(|facts| series(report, facts)).collect::<Vec<_>>(),
    });
    let compare = report.asked.compare.as_ref().map(|compare| {
        let mut asked = json!({ "by": compare.by.name() });
        let margin = compare.margin.map(|margin| json!(margin.to_string()));
        let reference = compare.reference.as_ref().map(|name| json!(name));
        put(&mut asked, [("margin", margin), ("reference", reference)]);
        asked
    });
    let zone = report.asked.zone.name().map(|name| json!(name));
    let full = report.asked.full.then_some(json!(true));
    let shop = shop(&report.asked.letterhead);
    let run = report.run.as_ref().map(run);
    put(
        &mut object,
        [
            ("zone", zone),
            ("compare", compare),
            ("full", full),
            (
                "checkable",
                report.asked.lines.as_ref().map(|_| json!(true)),
            ),
            ("shop", shop),
            ("run", run),
            (
                "qualified",
                report
                    .qualified
                    .as_ref()
                    .map(|of| qualified::value(&of.frame)),
            ),
        ],
    );
    object
}

/// The data as text in the page.
pub(super) fn text(value: &Value) -> String {
    let json = value.to_string();
    let mut text = String::with_capacity(json.len());
    for c in json.chars() {
        if c.is_ascii() && !matches!(c, '<' | '>' | '&') {
            text.push(c);
            continue;
        }
        let mut units = [0; 2];
        for unit in c.encode_utf16(&mut units) {
            let _ = write!(text, "\\u{unit:04x}");
        }
    }
    text
}

/// A production run with its counts.
fn run(run: &RunRecord) -> Value {
    let [released, reworked, scrapped] = Settlement::ALL.map(|how| run.settled(how));
    json!({
        "run": run.id.0,
        "run_id": run.settings.id,
        "station": run.station,
        "crimps": run.crimps,
        "vouched": run.vouched,
        "held": run.held(),
        "released": released,
        "reworked": reworked,
        "scrapped": scrapped,
        "open": run.open(),
    })
}

fn series(report: &Report, facts: &Facts) -> Value {
    let (record, spec) = (&facts.record, &facts.record.series.spec);
    let mut object = json!({
        "series": record.series.id.0,
        "station": spec.station,
        "opened": record.series.opened.to_string(),
        "outcome": facts.outcome().map_or("open", crate::entry::Outcome::name),
        "reservations": facts.reservations().iter().map(|one| one.name()).collect::<Vec<_>>(),
        "purpose": spec.purpose.name(),
        "pieces": spec.pieces,
        "decision": spec.decision.name(),
        "axes": spec.axes.iter().map(axis).collect::<Vec<_>>(),
        "zeros": facts.zeros().iter().map(|(seq, at, zeroed)| {
            let mut zero = json!({
                "seq": seq.0, "at": at.to_string(), "instrument": zeroed.instrument,
                "role": zeroed.role.name(), "ok": zeroed.ok,
            });
            put(&mut zero, [("value", Some(json!(zeroed.value.to_string())))]);
            zero
        }).collect::<Vec<_>>(),
        "readings": facts.readings.iter().map(reading).collect::<Vec<_>>(),
    });
    let crimp = spec.subject.crimp();
    let tool = spec.tool.as_ref();
    let pictures = pictures(report, facts);
    put(
        &mut object,
        [
            ("pictures", (!pictures.is_empty()).then(|| json!(pictures))),
            (
                "closed",
                record
                    .series
                    .closed
                    .as_ref()
                    .map(|closed| json!(closed.at.to_string())),
            ),
            ("plan", spec.plan.as_ref().map(|plan| json!(plan))),
            ("terminal", crimp.map(|crimp| json!(crimp.terminal))),
            (
                "wire",
                crimp.map(|crimp| json!(crimp.wire.area.to_string())),
            ),
            ("job", spec.job.as_ref().map(|job| json!(job.id))),
            (
                "customer",
                spec.job
                    .as_ref()
                    .and_then(|job| job.customer.as_ref())
                    .map(|customer| json!(customer)),
            ),
            ("tool", tool.map(|tool| json!(tool.id))),
            (
                "nest",
                tool.and_then(|tool| tool.nest.as_ref())
                    .map(|nest| json!(nest)),
            ),
        ],
    );
    object
}

/// The pictures; `missing` marks those that the page should show and does not have.
fn pictures(report: &Report, facts: &Facts) -> Vec<Value> {
    let most = most_shown(report.asked.full);
    let pictures = pictured(&facts.record).enumerate();
    let pictures = pictures.map(|(nth, (seq, pictured))| {
        let mut object = json!({
            "seq": seq.0,
            "picture": pictured.picture.to_string(),
            "shown": pictured.shown.to_string(),
            "width_px": pictured.width_px,
            "height_px": pictured.height_px,
        });
        let is_missing = nth < most && !report.asked.copies.has(seq);
        put(
            &mut object,
            [
                ("piece", pictured.piece.map(|piece| json!(piece))),
                ("missing", is_missing.then_some(json!(true))),
            ],
        );
        object
    });
    pictures.collect()
}

fn axis(axis: &crate::spec::ArmedAxis) -> Value {
    let limits = &axis.limits;
    let mut object = json!({ "axis": axis.name.as_str(), "limits": limits.to_string() });
    let names = match limits.dimension() {
        Dimension::Length => ["nominal_nm", "lower_nm", "upper_nm"],
        Dimension::Force => ["nominal_mn", "lower_mn", "upper_mn"],
    };
    let ends = [limits.nominal(), limits.lower(), limits.upper()];
    for (name, end) in names.into_iter().zip(ends) {
        put(&mut object, [(name, end.map(|end| json!(end.base())))]);
    }
    object
}

fn reading(row: &ReportReading) -> Value {
    let value = row.reading.value;
    let base = match value.quantity() {
        Quantity::Length(_) => "value_nm",
        Quantity::Force(_) => "value_mn",
    };
    let mut object = json!({
        "seq": row.seq.0,
        "at": row.at.to_string(),
        base: row.base(),
        "value": value.to_string(),
        "standing": row.standing(),
        "instrument": row.reading.instrument,
    });
    let slot = row.slot();
    put(
        &mut object,
        [
            ("piece", slot.map(|slot| json!(slot.piece))),
            ("axis", slot.map(|slot| json!(slot.axis.as_str()))),
            (
                "verdict",
                slot.and_then(|slot| slot.verdict)
                    .map(|verdict| json!(verdict.name())),
            ),
            ("operator", row.operator.as_ref().map(|who| json!(who))),
        ],
    );
    object
}

/// Sets a field; an unknown value is left out.
fn put<const N: usize>(object: &mut Value, known: [(&str, Option<Value>); N]) {
    let Some(fields) = object.as_object_mut() else {
        return;
    };
    for (name, value) in known {
        fields.extend(value.map(|value| (name.to_owned(), value)));
    }
}

//! Compares a page with the same page made again from its journal.
//!
//! In: the text of a page, and the [`Report`] that its journal gives for the same question. Out: every
//! [`Difference`], named by what it is about, with what is reported and what the journal gives.
//!
//! The two texts must be the same, so everything that a reader sees is compared, pictures and data too. A page of
//! another layout cannot be made again, so it is not verified ([`OtherLayout`]). A few facts that are needed to make
//! the page again are taken from the page. Whoever reads the journal compares them with it ([`Overlooked`], the
//! query); [`unvouched`] lists those that no journal contains.

use super::copies::{self, Copies};
use super::data;
use super::document::LOGO;
use super::{HEAD, LAYOUT, Made, RELEASES, Report, document, qualified};
use crate::entry::{Entry, JournalEntry, Seq, Stamped};
use crate::markup::{Written, unescaped};
use crate::quantity::WallMicros;
use serde_json::Value;
use similar::{Algorithm, DiffOp, capture_diff_slices};

/// A place where a page and its journal differ.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Difference {
    /// What it is about: `series 37, piece 3, core crimp height (entry 42), value`.
    pub about: String,
    /// What the page says; `None` if the page has nothing there.
    pub reported: Option<String>,
    /// What the journal gives; `None` if it gives nothing there.
    pub journal: Option<String>,
}

/// Why a text cannot be checked as a page.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NoReport {
    /// It does not begin as a page does.
    #[error("this is no report of tallyjaw")]
    Other,
    /// Its data are missing or damaged, so it is not known how it was made.
    #[error("the data of the report are {what}")]
    NoData {
        /// `missing`, or what is wrong.
        what: String,
    },
}

/// A page that this release cannot make again, so that nothing in it is verified.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("its layout is {got}, want {want}: no word or picture of it was compared", want = LAYOUT)]
pub struct OtherLayout {
    /// The layout that the page names.
    pub got: u32,
    /// The release that the page names.
    pub version: String,
}

impl OtherLayout {
    /// What a person can do.
    pub fn remedy(&self) -> String {
        let Self { got, version } = self;
        if *got < LAYOUT {
            return format!(
                "it is of an earlier edition: make the report again from the journal with `tallyjaw report`, or verify it with the release that made it; the page names tallyjaw {version}, which the journal cannot vouch for"
            );
        }
        if RELEASES.contains(&version.as_str()) {
            format!(
                "the page names tallyjaw {version}, which makes layout {LAYOUT}: the page was changed; get the report again"
            )
        } else {
            format!(
                "use the release that made it; the page names tallyjaw {version}, which the journal cannot vouch for"
            )
        }
    }
}

/// Whether this release can make such a page again.
pub fn comparable(made: &Made) -> Result<(), OtherLayout> {
    if made.layout == LAYOUT {
        return Ok(());
    }
    Err(OtherLayout {
        got: made.layout,
        version: made.version.clone(),
    })
}

/// Checks that the release which a page names makes its layout.
pub fn release(made: &Made) -> Option<Difference> {
    if RELEASES.contains(&made.version.as_str()) {
        return None;
    }
    Some(Difference {
        about: format!("the release, of layout {LAYOUT}"),
        reported: Some(made.version.clone()),
        journal: Some(RELEASES.join(", ")),
    })
}

/// What the page says and no journal contains: pairs of a subject and what the page says of it.
pub fn unvouched(made: &Made) -> Vec<(&'static str, String)> {
    let offsets = made.zone.offsets(made.at, made.at);
    let mut offsets: Vec<_> = offsets
        .iter()
        .map(|(from, _)| from.offset(&made.zone))
        .collect();
    offsets.sort();
    offsets.dedup();
    let name = made.zone.name().map(|name| format!("{name}, "));
    let zone = format!("{}{}", name.unwrap_or_default(), offsets.join(" and "));
    let mut named = vec![
        ("when the report was made", made.at.to_string()),
        ("which release made it", made.version.clone()),
        ("the zone of its times and its offset from UTC", zone),
    ];
    if let Some(frame) = &made.qualified {
        let named_by = "the rule, the limits of the sheets, and the checks of the tools";
        named.push((named_by, qualified::in_words(frame)));
    }
    let letterhead = made.letterhead.in_words();
    if !letterhead.is_empty() {
        named.push(("the letterhead", letterhead));
    }
    if !made.missing.is_empty() {
        let missing: Vec<String> = made.missing.iter().map(Seq::to_string).collect();
        let missing = format!("of entries {}", missing.join(", "));
        named.push(("that pictures were missing", missing));
    }
    named
}

/// Time that may pass between the time of an entry and its sync, or by which two clocks may differ.
const SLACK_MICROS: i64 = 60_000_000;

/// Finds entries that a page leaves out although they existed at the time at which it says it was made.
#[derive(Debug, Clone)]
pub struct Overlooked {
    made: WallMicros,
    /// `false` after a step of the clock, because times cannot be compared then.
    is_comparable: bool,
    found: Option<Difference>,
}

impl Overlooked {
    /// For a page that states this time.
    pub fn new(made: WallMicros) -> Self {
        Self {
            made,
            is_comparable: true,
            found: None,
        }
    }

    /// The last entry that the page knows of, and when that was.
    pub fn last(&mut self, (last, at): (Seq, WallMicros)) {
        if self.made.0.saturating_add(SLACK_MICROS) < at.0 {
            self.found = Some(Difference {
                about: "when the report was made".to_owned(),
                reported: Some(self.made.to_string()),
                journal: Some(format!("not before its last entry {last}, of {at}")),
            });
        }
    }

    /// Takes an entry after the last that the page includes. `is_about` says whether it is about a series of the page.
    pub fn take(&mut self, stamped: &Stamped, is_about: bool) {
        if let Entry::Journal(JournalEntry::ClockStepped(_)) = &stamped.entry {
            self.is_comparable = false;
        }
        let is_older = stamped.at.0.saturating_add(SLACK_MICROS) < self.made.0;
        if self.is_comparable && is_about && is_older && self.found.is_none() {
            let about = "when the report was made: an entry about its series that was there before is left out";
            self.found = Some(Difference {
                about: about.to_owned(),
                reported: Some(self.made.to_string()),
                journal: Some(format!("before entry {}, of {}", stamped.seq, stamped.at)),
            });
        }
    }

    /// What was found.
    pub fn found(self) -> Option<Difference> {
        self.found
    }
}

/// How the page says that it was made.
pub fn made(text: &str) -> Result<Made, NoReport> {
    let text = plain(text);
    if !text.starts_with(HEAD) {
        return Err(NoReport::Other);
    }
    let data = data_of(&text)?;
    Made::from_data(&data, logo_of(&text), Copies::of_page(&text)).ok_or_else(|| NoReport::NoData {
        what: "not whole".to_owned(),
    })
}

/// Where the page differs from what its journal gives, in the order of the page.
pub fn differences(text: &str, report: &Report) -> Vec<Difference> {
    let found = copies::differences(report).into_iter();
    found.chain(Anew::of(report).differences(text)).collect()
}

/// The page, made again from its journal.
#[derive(Debug, Clone)]
pub struct Anew(Written);

impl Anew {
    /// Makes the page again.
    pub fn of(report: &Report) -> Self {
        Self(document::written(report))
    }

    /// Where a page differs from it, in the order of the page.
    pub fn differences(&self, text: &str) -> Vec<Difference> {
        let text = plain(text);
        if text == self.0.text {
            return Vec::new();
        }
        parts(&text, &self.0)
    }
}

/// The differences of a page whose text is not the same.
fn parts(text: &str, written: &Written) -> Vec<Difference> {
    let (got, want) = (tokens(text), tokens(&written.text));
    let mut at = 0;
    let places: Vec<usize> = want
        .iter()
        .map(|token| {
            let from = at;
            at += token.len();
            from
        })
        .collect();
    let about = |token: usize| {
        places
            .get(token)
            .map_or("the end of the page", |at| written.about(*at))
    };
    let mut found = Vec::new();
    for op in capture_diff_slices(Algorithm::Myers, &got, &want) {
        push_differences(&op, &got, &want, &about, &mut found);
    }
    found
}

/// Adds the differences of one kind of part: of the text between tags, or of the tags.
fn push_differences<'w>(
    op: &DiffOp,
    got: &[&str],
    want: &[&str],
    about: &impl Fn(usize) -> &'w str,
    found: &mut Vec<Difference>,
) {
    let (old, new) = (op.old_range(), op.new_range());
    if matches!(op, DiffOp::Equal { .. }) {
        return;
    }
    let slice = |of: &[&str], range: std::ops::Range<usize>| -> Vec<String> {
        of.get(range)
            .unwrap_or_default()
            .iter()
            .map(|token| (*token).to_owned())
            .collect()
    };
    let (reported, journal) = (slice(got, old.clone()), slice(want, new.clone()));
    if reported.len() == journal.len() {
        for (nth, (reported, journal)) in reported.iter().zip(&journal).enumerate() {
            one(about(new.start + nth), reported, journal, found);
        }
        return;
    }
    let place = if journal.is_empty() && new.start > 0 {
        format!("behind {}", about(new.start - 1))
    } else {
        about(new.start).to_owned()
    };
    found.push(Difference {
        about: place,
        reported: joined(&reported),
        journal: joined(&journal),
    });
}

fn one(about: &str, reported: &str, journal: &str, found: &mut Vec<Difference>) {
    let data = |text: &str| {
        serde_json::from_str::<Value>(text)
            .ok()
            .filter(Value::is_object)
    };
    if let (Some(reported), Some(journal)) = (data(reported), data(journal)) {
        let before = found.len();
        walk((about, ""), Some(&reported), Some(&journal), found);
        if found.len() > before {
            return;
        }
    }
    found.push(Difference {
        about: about.to_owned(),
        reported: Some(shown(reported)),
        journal: Some(shown(journal)),
    });
}

/// Tags as they are, text as a person reads it. Spaces are made visible where there is nothing else.
fn shown(token: &str) -> String {
    if token.trim().is_empty() {
        return format!("{token:?}");
    }
    unescaped(token)
}

/// The text of these parts; the tags if there is no text among them.
fn joined(tokens: &[String]) -> Option<String> {
    let text: Vec<String> = tokens
        .iter()
        .filter(|token| !token.starts_with('<') && !token.trim().is_empty())
        .map(|token| unescaped(token))
        .collect();
    match (text.is_empty(), tokens.is_empty()) {
        (_, true) => None,
        (true, false) => Some(tokens.concat()),
        (false, false) => Some(text.join(" ")),
    }
}

/// Compares data with data, of the page or of a line; each difference is named by its path.
fn walk(
    (about, path): (&str, &str),
    reported: Option<&Value>,
    journal: Option<&Value>,
    found: &mut Vec<Difference>,
) {
    match (reported, journal) {
        (Some(Value::Object(got)), Some(Value::Object(want))) => {
            let more = got.keys().filter(|key| !want.contains_key(*key));
            for key in want.keys().chain(more) {
                let at = if path.is_empty() {
                    key.clone()
                } else {
                    format!("{path}.{key}")
                };
                walk((about, &at), got.get(key), want.get(key), found);
            }
        }
        (Some(Value::Array(got)), Some(Value::Array(want))) => {
            for at in 0..got.len().max(want.len()) {
                let path = format!("{path}[{at}]");
                walk((about, &path), got.get(at), want.get(at), found);
            }
        }
        (reported, journal) if reported == journal => {}
        (reported, journal) => found.push(Difference {
            about: format!("{about}, {path}"),
            reported: reported.map(Value::to_string),
            journal: journal.map(Value::to_string),
        }),
    }
}

/// The text with the line ends that it was written with. Some ways of sending a file change them.
fn plain(text: &str) -> String {
    text.strip_prefix('\u{feff}')
        .unwrap_or(text)
        .replace("\r\n", "\n")
}

/// The address of the picture in the letterhead. Text of the page is escaped, so no other `<img` can stand before it.
fn logo_of(text: &str) -> Option<&str> {
    let (_, behind) = text.split_once(LOGO)?;
    Some(behind.split_once('"')?.0)
}

fn data_of(text: &str) -> Result<Value, NoReport> {
    let missing = || NoReport::NoData {
        what: "missing".to_owned(),
    };
    let (_, behind) = text
        .split_once(&format!("id=\"{}\">", data::ID))
        .ok_or_else(missing)?;
    let (data, _) = behind.split_once("</script>").ok_or_else(missing)?;
    serde_json::from_str(data).map_err(|error| NoReport::NoData {
        what: format!("damaged: {error}"),
    })
}

/// Splits a text into tags and the text between them; joined, the parts are the text again.
fn tokens(text: &str) -> Vec<&str> {
    let mut tokens = Vec::new();
    let mut rest = text;
    while !rest.is_empty() {
        let end = if rest.starts_with('<') {
            rest.find('>').map_or(rest.len(), |at| at + 1)
        } else {
            rest.find('<').unwrap_or(rest.len())
        };
        let (token, behind) = rest.split_at(end);
        tokens.push(token);
        rest = behind;
    }
    tokens
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tokens_joined_are_the_text() {
        for text in ["<p>1.62 <b>mm</b></p>\n", "", "x", "<", "a<b", "<p", ">"] {
            assert_eq!(tokens(text).concat(), text);
        }
        assert_eq!(tokens("<p>1 <b>2</b>"), ["<p>", "1 ", "<b>", "2", "</b>"]);
    }

    #[test]
    fn data_that_differ_are_named_by_their_path() {
        let value = |text: &str| serde_json::from_str::<Value>(text).unwrap();
        let (got, want) = (
            value(r#"{"a":[1,{"b":2}],"c":3}"#),
            value(r#"{"a":[1,{"b":4}],"d":5}"#),
        );
        let mut found = Vec::new();
        let about = "the data for programs";
        walk((about, ""), Some(&got), Some(&want), &mut found);
        let words: Vec<_> = found.iter().map(|one| one.about.as_str()).collect();
        assert_eq!(
            words,
            [
                "the data for programs, a[1].b",
                "the data for programs, d",
                "the data for programs, c"
            ]
        );
    }
}

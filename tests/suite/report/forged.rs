//! A changed page does not verify, wherever the change is. The few parts that cannot be verified are named.

use super::made::{self, kept_lines, lines, two_axes_by_piece};
use crate::harness::{cases, every};
use proptest::prelude::*;
use tallyjaw::entry::Stamped;
use tallyjaw::entry::line::Digest;
use tallyjaw::quantity::{WallMicros, Zone};
use tallyjaw::report::check::{
    Anew, comparable, differences, made as how_made, release, unvouched,
};
use tallyjaw::report::{Gathering, Made, Report, ReportRequest};

/// Whether a page verifies against these entries, as `tallyjaw verify` does it: everything needed to make the page
/// again is taken from the page.
pub(super) fn verifies(page: &str, entries: &[Stamped]) -> bool {
    how_made(page).is_ok_and(|made| {
        again(made, entries).is_some_and(|report| differences(page, &report).is_empty())
    })
}

/// The report that the page is compared with.
fn again(made: Made, entries: &[Stamped]) -> Option<Report> {
    let known = entries.first().map(|stamped| stamped.seq);
    let last = entries.last().map(|stamped| stamped.seq);
    if comparable(&made).is_err()
        || release(&made).is_some()
        || !(known..=last).contains(&Some(made.last))
    {
        return None;
    }
    let gathering = Gathering::new(|id, _, _| made.series.contains(&id));
    let mut gathering = gathering.with_run(made.run);
    for (stamped, line) in entries.iter().zip(lines(entries)) {
        if stamped.seq <= made.last {
            gathering.take(stamped, Digest::of(&line));
        }
    }
    let gathered = gathering.finish()?;
    if gathered.journal != made.journal {
        return None;
    }
    let lines = made.checkable.then(|| kept_lines(&gathered, entries));
    let asked = ReportRequest {
        query: made.query,
        compare: made.compare,
        full: made.full,
        qualified: made.qualified.clone(),
        made: made.at,
        zone: made.zone,
        version: made.version,
        letterhead: made.letterhead,
        copies: made.copies,
        lines: lines.flatten(),
    };
    Some(Report::new(gathered, asked))
}

/// Tags, comments, and what is between them.
fn tokens(page: &str) -> Vec<&str> {
    let mut tokens = Vec::new();
    let mut rest = page;
    while !rest.is_empty() {
        let end = match rest.strip_prefix('<') {
            Some(_) => rest.find('>').map_or(rest.len(), |at| at + 1),
            None => rest.find('<').unwrap_or(rest.len()),
        };
        let (token, behind) = rest.split_at(end);
        tokens.push(token);
        rest = behind;
    }
    tokens
}

/// All changes of one token.
fn changed(token: &str) -> Vec<String> {
    let first = token.chars().next().unwrap();
    let tail = &token[first.len_utf8()..];
    let mut all = vec![
        String::new(),
        format!("{token}{token}"),
        format!("{token}<!-- seen -->"),
        format!("<span hidden></span>{token}"),
    ];
    // in a script a comparison begins as a tag does
    let is_paired = token.matches('"').count().is_multiple_of(2);
    let is_tag = first == '<' && token.ends_with('>') && is_paired && !token.contains('\n');
    if !is_tag {
        let other = if first == 'x' { 'y' } else { 'x' };
        all.extend([
            format!("{other}{tail}"),
            tail.to_owned(),
            format!("{token}x"),
            format!("x{token}"),
            format!("&#{};{tail}", u32::from(first)),
            format!("{token}\u{200b}"),
            format!("{token}\u{202e}"),
            format!(" {token}"),
        ]);
        return all;
    }
    // a tag: its name, each attribute with its value, one more
    let closing = token.strip_suffix('>').unwrap();
    all.push(format!("{closing} >"));
    all.push(format!("{closing} hidden>"));
    all.push(format!("{closing} style=\"display:none\">"));
    all.push(token.replacen('<', "<b><", 1));
    all.push(token.to_uppercase());
    let mut behind = token;
    let mut done = 0;
    while let Some(at) = behind.find("=\"") {
        let value = done + at + 2;
        let end = value + token[value..].find('"').unwrap();
        let name = token[..value].rfind(' ').unwrap();
        all.push(format!("{}{}", &token[..name], &token[end + 1..]));
        all.push(format!("{}x{}", &token[..end], &token[end..]));
        if end > value {
            all.push(format!("{}{}", &token[..value], &token[end..]));
            let first = token[value..].chars().next().unwrap();
            let tail = &token[value + first.len_utf8()..];
            all.push(format!("{}&#{};{tail}", &token[..value], u32::from(first)));
        }
        done = end + 1;
        behind = &token[done..];
    }
    all
}

#[test]
fn no_text_and_no_attribute_of_a_page_can_be_changed_left_out_or_put_in_unnoticed() {
    let (name, entries) = made::cases().swap_remove(0);
    assert_eq!(name, "one_piece");
    let page = made::in_full(&entries).html(); // the sheet, and its appendix
    no_change_is_unnoticed(&page, &entries);
}

#[test]
fn no_part_of_a_letterhead_can_be_changed_where_it_is_seen_alone() {
    let entries = made::with_papers();
    let page = made::with_letterhead(&entries).html();
    no_change_is_unnoticed(&page, &entries);
}

pub(super) fn no_change_is_unnoticed(page: &str, entries: &[Stamped]) {
    assert!(verifies(page, entries));
    let tokens = tokens(page);
    assert_eq!(tokens.concat(), page);
    let whole = how_made(page).unwrap();
    let anew = Anew::of(&again(whole.clone(), entries).unwrap());
    let mut at = 0;
    let (mut changes, mut tried) = (0_usize, 0);
    for token in tokens {
        for other in changed(token) {
            changes += 1;
            if other == token || !changes.is_multiple_of(every(7)) {
                continue; // a tag without a small letter, or a place that only the whole sweep tries
            }
            let forged = format!("{}{other}{}", &page[..at], &page[at + token.len()..]);
            let is_found = match how_made(&forged) {
                Ok(made) if made == whole => !anew.differences(&forged).is_empty(),
                Ok(_) | Err(_) => !verifies(&forged, entries),
            };
            assert!(is_found, "{token:?} as {other:?} verifies");
            tried += 1;
        }
        at += token.len();
    }
    assert!(tried > 5_000 / every(7), "only {tried} changes were tried");
}

#[test]
fn nothing_can_be_put_before_or_behind_a_page_or_stand_in_it_twice() {
    let entries = two_axes_by_piece();
    let page = made::whole(&entries).html();
    let at = page.find("<script").unwrap();
    let end = page.find("</script>\n").unwrap() + "</script>\n".len();
    let data = &page[at..end];
    let hidden = data.replacen("\"layout\":3", "\"layout\":4", 1);
    let forged = [
        format!("{page}<p>Approved.</p>"),
        format!("{page}\0"),
        format!("{page} "),
        format!("{page}\n"),
        format!("{page}<!-- -->"),
        format!("\u{feff}\u{feff}{page}"),
        format!(" {page}"),
        page.replacen(data, &format!("{data}{data}"), 1),
        page.replacen(data, &format!("{data}{hidden}"), 1),
        page.replacen(data, &format!("{hidden}{data}"), 1),
        page.replacen(data, &format!("<!--{data}-->{data}"), 1),
        page.replacen("</style>", ".fail { display: none }</style>", 1),
        page.replacen("<body>", "<body><script>alert(1)</script>", 1),
        page.replacen("default-src 'none'", "default-src *", 1),
        page.replacen("default-src &#39;none&#39;", "default-src *", 1),
        page[..page.len() - 1].to_owned(),
    ];
    for (nth, forged) in forged.iter().enumerate() {
        if *forged != page {
            assert!(!verifies(forged, &entries), "forgery {nth}");
        }
    }
}

/// The page itself says how to make it again: each of these is changed everywhere, as its author could.
#[test]
fn what_a_page_says_of_itself_is_held_against_something_or_named_as_not_vouched_for() {
    let entries = two_axes_by_piece();
    let page = made::whole(&entries).html();
    let last = entries.last().unwrap().seq;
    let forged = [
        page.replacen("\"layout\":3,", "\"layout\":4,", 1),
        page.replacen("\"layout\":3,", "\"layout\":1,", 1),
        page.replace("0.1.0", "9.9.9"),
        page.replace("0.1.0", ""),
        page.replace(&"0".repeat(32), &"1".repeat(32)),
        page.replace(
            &format!("\"last\":{last}"),
            &format!("\"last\":{}", last.0 + 1),
        ),
    ];
    for (nth, forged) in forged.iter().enumerate() {
        assert_ne!(*forged, page, "forgery {nth} changes nothing");
        assert!(!verifies(forged, &entries), "forgery {nth}");
    }
    // what remains: the time, within what the entries allow, and the release, among those with this layout
    let named = |page: &str| {
        let named = unvouched(&how_made(page).unwrap());
        named
            .into_iter()
            .map(|(about, _)| about)
            .collect::<Vec<_>>()
    };
    let with_letterhead = made::with_letterhead(&entries).html();
    assert_eq!(named(&with_letterhead).last(), Some(&"the letterhead"));
    assert_eq!(
        named(&page),
        [
            "when the report was made",
            "which release made it",
            "the zone of its times and its offset from UTC"
        ]
    );
}

#[test]
fn no_piece_of_a_page_can_be_replaced_by_another() {
    let entries = two_axes_by_piece();
    let page = made::whole(&entries).html();
    let whole = how_made(&page).unwrap();
    let anew = Anew::of(&again(whole.clone(), &entries).unwrap());
    let places: Vec<usize> = page.char_indices().map(|(at, _)| at).collect();
    let as_sent = |page: &str| {
        let page = page.strip_prefix('\u{feff}').unwrap_or(page);
        page.replace("\r\n", "\n")
    };
    proptest!(ProptestConfig::with_cases(cases(512)), |(
        from in any::<prop::sample::Index>(), len in 0usize..40, with in ".{0,12}"
    )| {
        let from = from.index(places.len());
        let to = places.get(from + len).copied().unwrap_or(page.len());
        let forged = format!("{}{with}{}", &page[..places[from]], &page[to..]);
        prop_assume!(as_sent(&forged) != page);
        let is_found = match how_made(&forged) {
            Ok(made) if made == whole => !anew.differences(&forged).is_empty(),
            Ok(_) | Err(_) => !verifies(&forged, &entries),
        };
        prop_assert!(is_found);
    });
}

/// Every time on a page, as a moment; `None` if one has no moment.
fn moments(page: &str) -> Option<Vec<WallMicros>> {
    let time = regex::Regex::new(r"(\d{4}-\d\d-\d\d) (\d\d:\d\d:\d\d) ([+-]\d\d:\d\d)").unwrap();
    let exact = time
        .captures_iter(page)
        .map(|found| format!("{}T{}{}", &found[1], &found[2], &found[3]));
    exact.map(|text| text.parse().ok()).collect()
}

/// Texts and offsets changed together are a page of another zone: it says the same moments, and the zone is named as
/// not vouched for. Offsets that are not of the texts are found.
#[test]
fn the_offset_of_a_page_cannot_be_changed_without_its_times_and_is_named_as_not_vouched_for() {
    let entries = two_axes_by_piece();
    let page = made::whole(&entries).html();
    let vouched = |page: &str| {
        let zone = unvouched(&how_made(page).unwrap()).into_iter().last();
        zone.map(|(_, says)| says)
    };
    assert_eq!(vouched(&page).as_deref(), Some("UTC, +00:00"));
    proptest!(ProptestConfig::with_cases(24), |(minutes in -960_i32..=960)| {
        prop_assume!(minutes != 0);
        let moved = made::in_zone(&entries, Zone::fixed(minutes).unwrap()).html();
        let offset = WallMicros(0).offset(&Zone::fixed(minutes).unwrap());
        // as the whole page of another zone
        prop_assert!(verifies(&moved, &entries));
        prop_assert_eq!(moments(&moved), moments(&page));
        prop_assert_eq!(vouched(&moved), Some(offset.clone()));
        // the offset in texts and data, the times of day left as they were
        let data = page.replace(",0]", &format!(",{}]", minutes * 60));
        let told = data.replace("+00:00", &offset);
        prop_assert!(!verifies(&data, &entries), "the data alone");
        prop_assert!(!verifies(&told, &entries), "the data and the texts");
        prop_assert!(!verifies(&page.replace("+00:00", &offset), &entries), "the texts alone");
    });
    for name in ["Europe/Vienna", "x"] {
        let named = page.replace("\"zone\":\"UTC\"", &format!("\"zone\":\"{name}\""));
        assert!(
            !verifies(&named, &entries),
            "the name of the zone in the data alone"
        );
        let named = named.replace("<bdi>UTC</bdi>", &format!("<bdi>{name}</bdi>"));
        assert!(
            verifies(&named, &entries),
            "a name that nothing contradicts"
        );
        assert_eq!(vouched(&named), Some(format!("{name}, +00:00")));
    }
    let day = page.replace(",0]", ",86400]").replace("+00:00", "+24:00");
    assert!(!verifies(&day, &entries), "no zone is a day from UTC");
}

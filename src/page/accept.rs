//! Chooses one of several forms by the `Accept` of a request: RFC 9110, section 12.5.1.
//!
//! In: the headers, and the media types that can be served. Out: the one that the client prefers, or none.
//!
//! - The most specific range decides about a media type; `q=0` excludes it. Of equal weights, the first one served wins.
//! - A member that is no media range is left out. Without any, everything is accepted.

use axum::http::HeaderMap;
use axum::http::header::ACCEPT;

/// A media type that can be served.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Media {
    pub(super) kind: &'static str,
    pub(super) subtype: &'static str,
    /// Its parameters. A range that has others, or other values, is not met by it.
    pub(super) parameters: &'static [(&'static str, &'static str)],
    /// Names of parameters that any value meets.
    pub(super) any: &'static [&'static str],
}

/// A member of `Accept`.
#[derive(Debug, PartialEq, Eq)]
struct Range {
    kind: String,
    subtype: String,
    parameters: Vec<(String, String)>,
    /// In thousandths.
    weight: u16,
}

/// The place in `served` that the client prefers; `None` if it accepts none of them.
pub(super) fn chosen(headers: &HeaderMap, served: &[Media]) -> Option<usize> {
    let lines = headers.get_all(ACCEPT).iter();
    let texts: Vec<String> = lines
        .map(|line| String::from_utf8_lossy(line.as_bytes()).into_owned())
        .collect();
    let text = texts.join(",");
    let ranges: Vec<Range> = split(&text, ',').filter_map(Range::read).collect();
    if ranges.is_empty() {
        return Some(0);
    }
    let weights = served.iter().map(|media| weight(&ranges, media));
    let accepted = weights.enumerate().filter(|(_, weight)| *weight > 0);
    let best = accepted.reduce(|best, next| if next.1 > best.1 { next } else { best });
    best.map(|(at, _)| at)
}

/// The weight that the most specific range gives a media type.
fn weight(ranges: &[Range], media: &Media) -> u16 {
    let met = ranges.iter().filter_map(|range| {
        let how = range.specific(media)?;
        Some((how, range.weight))
    });
    met.max().map_or(0, |(_, weight)| weight)
}

impl Range {
    fn read(member: &str) -> Option<Self> {
        let mut parts = split(member, ';');
        let (kind, subtype) = parts.next()?.trim().split_once('/')?;
        if !is_token(kind) || !is_token(subtype) || (kind == "*" && subtype != "*") {
            return None;
        }
        let mut range = Self {
            kind: kind.to_ascii_lowercase(),
            subtype: subtype.to_ascii_lowercase(),
            parameters: Vec::new(),
            weight: 1000,
        };
        for part in parts.map(str::trim).filter(|part| !part.is_empty()) {
            let (name, value) = part.split_once('=')?;
            let name = name.trim().to_ascii_lowercase();
            let value = unquoted(value.trim())?;
            if name == "q" {
                range.weight = thousandths(&value)?;
            } else if is_token(&name) {
                range.parameters.push((name, value));
            } else {
                return None;
            }
        }
        Some(range)
    }

    /// How specific it is about a media type; `None` if that does not meet it.
    fn specific(&self, media: &Media) -> Option<usize> {
        let of_kind = match (self.kind.as_str(), self.subtype.as_str()) {
            ("*", "*") => 0,
            (kind, "*") if kind == media.kind => 1,
            (kind, subtype) if kind == media.kind && subtype == media.subtype => 2,
            _ => return None,
        };
        let meets = self.parameters.iter().all(|(name, value)| {
            let same =
                |(own, wanted): &(&str, &str)| own == name && value.eq_ignore_ascii_case(wanted);
            media.any.contains(&name.as_str()) || media.parameters.iter().any(same)
        });
        meets.then_some(of_kind + self.parameters.len())
    }
}

/// A weight in thousandths: `qvalue` of RFC 9110, section 12.4.2.
fn thousandths(text: &str) -> Option<u16> {
    let (whole, fraction) = text.split_once('.').unwrap_or((text, ""));
    let is_short = fraction.len() <= 3 && fraction.bytes().all(|byte| byte.is_ascii_digit());
    if !is_short || !["0", "1"].contains(&whole) {
        return None;
    }
    let weight = format!("{whole}{fraction:0<3}").parse().ok()?;
    (weight <= 1000).then_some(weight)
}

fn is_token(text: &str) -> bool {
    let is_of_token = |byte: u8| byte.is_ascii_alphanumeric() || b"!#$%&'*+-.^_`|~".contains(&byte);
    !text.is_empty() && text.bytes().all(is_of_token)
}

/// A value without its quotation marks; `None` if they do not belong together.
fn unquoted(value: &str) -> Option<String> {
    let Some(rest) = value.strip_prefix('"') else {
        return is_token(value).then(|| value.to_owned());
    };
    let mut text = String::new();
    let mut letters = rest.strip_suffix('"')?.chars();
    while let Some(letter) = letters.next() {
        match letter {
            '\\' => text.push(letters.next()?),
            '"' => return None,
            other => text.push(other),
        }
    }
    Some(text)
}

/// The parts between separators that are not in quotation marks.
fn split(text: &str, separator: char) -> impl Iterator<Item = &str> {
    let (mut is_quoted, mut is_escaped) = (false, false);
    text.split(move |letter: char| {
        let was_escaped = std::mem::replace(&mut is_escaped, false);
        match letter {
            '\\' if is_quoted && !was_escaped => is_escaped = true,
            '"' if !was_escaped => is_quoted = !is_quoted,
            _ => {}
        }
        letter == separator && !is_quoted
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::http::HeaderValue;

    const fn media(kind: &'static str, subtype: &'static str) -> Media {
        Media {
            kind,
            subtype,
            parameters: &[],
            any: &[],
        }
    }

    fn headers(lines: &[&str]) -> HeaderMap {
        let mut headers = HeaderMap::new();
        for line in lines {
            headers.append(ACCEPT, HeaderValue::from_str(line).unwrap());
        }
        headers
    }

    #[test]
    fn the_weights_are_those_of_the_example_of_rfc_9110() {
        // RFC 9110, section 12.5.1, the last example and its table; from memory
        let accept = "text/*;q=0.3, text/plain;q=0.7, text/plain;format=flowed, text/plain;format=fixed;q=0.4, */*;q=0.5";
        let ranges: Vec<Range> = split(accept, ',').filter_map(Range::read).collect();
        assert_eq!(ranges.len(), 5);
        let plain = media("text", "plain");
        let formed = |parameters| Media {
            parameters,
            ..plain
        };
        for (media, want) in [
            (formed(&[("format", "flowed")]), 1000),
            (plain, 700),
            (media("text", "html"), 300),
            (media("image", "jpeg"), 500),
            (formed(&[("format", "fixed")]), 400),
        ] {
            assert_eq!(weight(&ranges, &media), want, "{media:?}");
        }
    }

    #[test]
    fn the_preferred_one_is_chosen_and_what_is_no_range_is_left_out() {
        let served = [
            Media {
                parameters: &[("version", "1.0.0")],
                ..media("a", "new")
            },
            Media {
                any: &["escaping"],
                ..media("a", "old")
            },
        ];
        for (accept, want) in [
            (&[][..], Some(0)),
            (&[""], Some(0)),
            (&["*/*"], Some(0)),
            (&["a/*"], Some(0)),
            (&["A/Old"], Some(1)),
            (&["a/new;q=0.5,a/old;q=0.501"], Some(1)),
            (&["a/new;q=0.5", "a/old;q=0.5"], Some(0)),
            (&["a/new;version=1.0.0;q=0.1, */*;q=0.2"], Some(1)),
            (&["a/new;version=\"1.0.0\""], Some(0)),
            (&["a/new;version=2"], None),
            (&["a/new;version=2, */*;q=0.1"], Some(0)),
            (&["a/old;escaping=\"x,y;z\""], Some(1)),
            (&["a/new;q=0, */*"], Some(1)),
            (&["a/new;q=0.000, a/old;q=0"], None),
            (&["b/c"], None),
            (
                &["nonsense, ;;, */x, a/b;=, a/new;q=2, a/new;q=0.0001, a/new;q=x"],
                Some(0),
            ),
            (&["nonsense, b/c"], None),
        ] {
            assert_eq!(chosen(&headers(accept), &served), want, "{accept:?}");
        }
    }
}

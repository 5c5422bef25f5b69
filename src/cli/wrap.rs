//! Wraps text for people at words, to the width of the terminal.
//!
//! A number and its unit stay on one line. If standard output is not a terminal nothing is wrapped, so that a line is
//! an entry.

use std::io;
use terminal_size::{Width, terminal_size_of};

/// Units and words that stay with a number.
const UNITS: &[&str] = &[
    "mm", "mm²", "µm", "in", "N", "kN", "lbf", "kgf", "ga", "AWG", "%", "ms", "s", "min", "V",
];

/// Minimum width. In a narrower terminal wrapped text would be a column of single words.
const NARROWEST: usize = 40;

/// Width of standard output in columns; `None` if it is not a terminal.
pub(super) fn terminal_width() -> Option<usize> {
    let (Width(columns), _) = terminal_size_of(io::stdout())?;
    (columns > 0).then_some(usize::from(columns))
}

/// `text` in lines. The first line has used `indent` columns already; the others are indented by as many.
pub(super) fn wrapped(text: &str, indent: usize, width: Option<usize>) -> String {
    let Some(width) = width else {
        return text.to_owned();
    };
    let room = width.max(NARROWEST).saturating_sub(indent);
    let mut lines = String::new();
    let mut used = 0;
    for chunk in chunks(text) {
        let long = columns(&chunk);
        if used > 0 && used + 1 + long > room {
            lines.push('\n');
            lines.push_str(&" ".repeat(indent));
            used = 0;
        } else if used > 0 {
            lines.push(' ');
            used += 1;
        }
        lines.push_str(&chunk);
        used += long;
    }
    lines
}

/// Number of visible characters; colour codes are left out.
fn columns(text: &str) -> usize {
    let parts = text.split('\u{1b}').enumerate();
    let shown = parts.map(|(nth, part)| match part.split_once('m') {
        Some((_, behind)) if nth > 0 => behind.chars().count(),
        Some(_) | None => part.chars().count(),
    });
    shown.sum()
}

/// The words of a text, where a number and what belongs to it are one word.
fn chunks(text: &str) -> Vec<String> {
    let mut chunks: Vec<String> = Vec::new();
    let mut before = "";
    for word in text.split(' ') {
        match chunks.last_mut() {
            Some(last) if belong_together(before, word) => {
                last.push(' ');
                last.push_str(word);
            }
            Some(_) | None => chunks.push(word.to_owned()),
        }
        before = word;
    }
    chunks
}

/// Whether two words stay together: `1.62` and `±0.05`, `±0.05` and `mm,`, `>=` and `180`, `piece` and `3`.
fn belong_together(one: &str, next: &str) -> bool {
    let is_number = one.ends_with(|c: char| c.is_ascii_digit());
    let bare = next.trim_end_matches(|c: char| ",;:.)]".contains(c));
    let starts_with_digit = next.starts_with(|c: char| c.is_ascii_digit());
    (is_number && (UNITS.contains(&bare) || next.starts_with('±')))
        || ([">=", "<=", "≥", "≤", "piece", "series", "entry"].contains(&one) && starts_with_digit)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_end_at_words_and_numbers_keep_their_unit() {
        let text =
            "piece 3 core crimp height: 1.62 mm (+0.00 mm), limits 1.62 ±0.05 mm, force >= 180 N";
        for width in 40..100 {
            let lines = wrapped(text, 4, Some(width));
            assert_eq!(lines.replace("\n    ", " "), text, "{width}");
            for line in lines.lines() {
                assert!(
                    line.trim_start().chars().count() + 4 <= width,
                    "{width}: {line}"
                );
                let line = line.trim();
                for parted in ["1.62", ">=", "piece"] {
                    assert!(!line.ends_with(parted), "{width}: {line}");
                }
                assert!(
                    !line.starts_with("mm") && !line.starts_with('N'),
                    "{width}: {line}"
                );
            }
        }
        assert_eq!(wrapped(text, 4, None), text);
    }

    #[test]
    fn a_word_that_is_longer_than_the_line_stands_on_one_of_its_own() {
        let long = "x".repeat(60);
        let text = format!("at {long} it is");
        assert_eq!(
            wrapped(&text, 2, Some(20)),
            format!("at\n  {long}\n  it is")
        );
    }
}

//! Text from outside, made safe to show; only this module decides which characters are escaped.

use std::borrow::Cow;
use std::fmt::Write as _;

/// The text with every character that could control a terminal or mislead a reader replaced by an escape.
///
/// ```
/// use tallyjaw::quantity::safe;
/// assert_eq!(safe("T-07\u{202e}70-T"), "T-07\\u{202e}70-T");
/// assert_eq!(safe("לילא"), "לילא");
/// ```
pub fn safe(text: &str) -> String {
    safe_or_same(text).into_owned()
}

/// As [`safe`]; the text itself where nothing is replaced.
pub fn safe_or_same(text: &str) -> Cow<'_, str> {
    if text.bytes().all(|byte| (b' '..=b'~').contains(&byte)) || !text.contains(is_unsafe) {
        return Cow::Borrowed(text);
    }
    let safe = String::with_capacity(text.len());
    Cow::Owned(text.chars().fold(safe, |mut safe, c| {
        if is_unsafe(c) {
            let _ = write!(safe, "{}", c.escape_default());
        } else {
            safe.push(c);
        }
        safe
    }))
}

/// The code point of the first unsafe character of a text: `U+202E`; `None` if there is none.
///
/// ```
/// use tallyjaw::quantity::unsafe_in;
/// assert_eq!(unsafe_in("T-07\u{202e}70-T").as_deref(), Some("U+202E"));
/// assert_eq!(unsafe_in("T-07"), None);
/// ```
pub fn unsafe_in(text: &str) -> Option<String> {
    let found = text.chars().find(|c| is_unsafe(*c))?;
    Some(format!("U+{:04X}", u32::from(found)))
}

/// Whether a character is unsafe to show: control characters, those that change the reading direction (marks,
/// embeddings, overrides, isolates and deprecated equivalents), line separators and annotation marks.
pub fn is_unsafe(c: char) -> bool {
    c.is_control()
        || matches!(
            c,
            '\u{061c}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{206f}' | '\u{fff9}'..='\u{fffb}'
        )
}

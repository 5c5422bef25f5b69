//! Text from outside as it may be shown: the one place that says which characters may not reach a reader's eye.

use std::fmt::Write as _;

/// The text with everything that could steer a terminal or a reader's eye shown as an escape.
///
/// ```
/// use tallyjaw::quantity::safe;
/// assert_eq!(safe("T-07\u{202e}70-T"), "T-07\\u{202e}70-T");
/// assert_eq!(safe("לילא"), "לילא");
/// ```
pub fn safe(text: &str) -> String {
    text.chars()
        .fold(String::with_capacity(text.len()), |mut safe, c| {
            if is_unsafe(c) {
                let _ = write!(safe, "{}", c.escape_default());
            } else {
                safe.push(c);
            }
            safe
        })
}

/// The first character of a text that may not be shown, as it is named: `U+202E`.
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

/// A control character, or one that turns the direction of what follows or breaks the line: marks, embeddings,
/// overrides, isolates and their deprecated relatives, line separators, annotation marks.
pub fn is_unsafe(c: char) -> bool {
    c.is_control()
        || matches!(
            c,
            '\u{061c}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{206f}' | '\u{fff9}'..='\u{fffb}'
        )
}

//! Rust text as words and marks, without comments, strings and character literals.
//!
//! In: the text of one file. Out: [`Token`]s with their lines. It knows no grammar: the checks need
//! to know only which names stand in code, in which order.

/// A word or a mark of Rust code.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Token {
    /// A whole word (`crate`, `f64`), or one mark (`{`, `:`).
    pub(super) text: String,
    /// Its line, from 1.
    pub(super) line: usize,
}

/// The words and marks of `source`, in order.
pub(super) fn tokens(source: &str) -> Vec<Token> {
    let mut rest = source;
    let mut line = 1;
    let mut found = Vec::new();
    while let Some(first) = rest.chars().next() {
        let len = length_of_next(rest, first);
        let (text, after) = rest.split_at(len);
        if is_word(text) || (len == first.len_utf8() && !first.is_whitespace()) {
            found.push(Token {
                text: text.to_owned(),
                line,
            });
        }
        line += text.matches('\n').count();
        rest = after;
    }
    found
}

fn is_word(text: &str) -> bool {
    !text.is_empty() && text.chars().all(is_word_char)
}

fn is_word_char(c: char) -> bool {
    c.is_alphanumeric() || c == '_'
}

/// The length of the comment, literal, word or mark that `rest` starts with.
fn length_of_next(rest: &str, first: char) -> usize {
    if rest.starts_with("//") {
        return rest.find('\n').unwrap_or(rest.len());
    }
    if rest.starts_with("/*") {
        return block_comment(rest);
    }
    if let Some(len) = raw_string(rest) {
        return len;
    }
    if first == '"' || rest.starts_with("b\"") || rest.starts_with("c\"") {
        return quoted(rest, '"');
    }
    if first == '\'' && is_char_literal(rest) {
        return quoted(rest, '\'');
    }
    match rest.find(|c| !is_word_char(c)) {
        Some(0) => first.len_utf8(),
        Some(len) => len,
        None => rest.len(),
    }
}

fn block_comment(rest: &str) -> usize {
    let (mut at, mut depth) = (2, 1);
    while depth > 0 {
        let tail = &rest[at..];
        let (end, change) = match (tail.find("/*"), tail.find("*/")) {
            (Some(open), Some(close)) if open < close => (open, 1),
            (_, Some(close)) => (close, -1),
            (_, None) => return rest.len(),
        };
        at += end + 2;
        depth += change;
    }
    at
}

/// `r"…"`, `r#"…"#`, `br#"…"#`; `None` for anything else, `r#type` included.
fn raw_string(rest: &str) -> Option<usize> {
    let prefix = ["r", "br", "cr"]
        .into_iter()
        .find(|prefix| rest.starts_with(prefix))?;
    let hashes = rest[prefix.len()..]
        .chars()
        .take_while(|c| *c == '#')
        .count();
    let body = prefix.len() + hashes + 1;
    if !rest[prefix.len() + hashes..].starts_with('"') {
        return None;
    }
    let end = format!("\"{}", "#".repeat(hashes));
    Some(
        rest[body..]
            .find(&end)
            .map_or(rest.len(), |at| body + at + end.len()),
    )
}

fn quoted(rest: &str, mark: char) -> usize {
    let mut escaped = false;
    let start = rest.find(mark).map_or(rest.len(), |at| at + 1);
    for (at, c) in rest[start..].char_indices() {
        match c {
            _ if escaped => escaped = false,
            '\\' => escaped = true,
            _ if c == mark => return start + at + 1,
            _ => {}
        }
    }
    rest.len()
}

/// `'a'` and `'\n'`, and not the lifetime `'a`.
fn is_char_literal(rest: &str) -> bool {
    let mut chars = rest.chars().skip(1);
    chars.next() == Some('\\') || chars.next() == Some('\'')
}

#[test]
fn comments_strings_and_characters_are_not_code() {
    let source = r##"a /* b /* c */ d */ e // f
        "g \" h" r#"i " j"# 'k' '\'' 'l: &'m b"n" br"o" p"##;
    let words: Vec<_> = tokens(source)
        .into_iter()
        .filter(|token| is_word(&token.text))
        .map(|token| (token.text, token.line))
        .collect();
    let expected = [("a", 1), ("e", 1), ("l", 2), ("m", 2), ("p", 2)];
    assert_eq!(words, expected.map(|(word, line)| (word.to_owned(), line)));
}

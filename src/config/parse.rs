//! Parses TOML and keeps the place of every key and value.
//!
//! In: a text of unknown origin. Out: every part that is valid TOML; other parts are reported.

use super::diagnostic::Source;
use super::faults::{Fault, Faults, FileId, Place, quoted};
use toml::Spanned;
use toml::de::DeTable;
use toml_parser::lexer::TokenKind;

/// Maximum depth of a dotted key. With the parser's own limit on nesting it bounds the stack.
const DEEPEST_KEY: usize = 8;

/// Parses `source`. Invalid TOML is reported, and the rest is returned.
pub(super) fn parse<'t>(
    source: &'t Source,
    file: FileId,
    faults: &mut Faults,
) -> Spanned<DeTable<'t>> {
    if let Some(place) = too_deep(source, file) {
        let fault = Fault::new(
            "a key of too many parts",
            "want at most a few, separated by points",
        );
        faults.add_syntax(&place, fault);
        return Spanned::new(0..0, DeTable::new());
    }
    let (table, errors) = DeTable::parse_recoverable(&source.text);
    for error in errors {
        let span = error.span().unwrap_or(0..0);
        let fault = match error.message() {
            "duplicate key" => {
                let got = source.text.get(span.clone()).unwrap_or("");
                Fault::new(
                    format!("{} stands twice in one table", quoted(got)),
                    "want each key once",
                )
                .help("a further item of a list starts with a header of its own, such as [[plan]]")
            }
            message => {
                let message = message.replace("expected literal string", "want the text in quotes");
                let (got, want) = message.split_once(", ").unwrap_or((&message, "want TOML"));
                Fault::new(format!("not TOML: {got}"), want.to_owned())
            }
        };
        faults.add_syntax(&file.place(span), fault);
    }
    table
}

/// The place of a dotted key that is too deep.
fn too_deep(source: &Source, file: FileId) -> Option<Place> {
    let mut dots = 0_usize;
    for token in toml_parser::Source::new(&source.text).lex() {
        match token.kind() {
            TokenKind::Dot => dots += 1,
            TokenKind::Equals
            | TokenKind::Comma
            | TokenKind::Newline
            | TokenKind::LeftCurlyBracket
            | TokenKind::RightCurlyBracket
            | TokenKind::LeftSquareBracket
            | TokenKind::RightSquareBracket
            | TokenKind::Eof => dots = 0,
            TokenKind::Whitespace
            | TokenKind::Comment
            | TokenKind::LiteralString
            | TokenKind::BasicString
            | TokenKind::MlLiteralString
            | TokenKind::MlBasicString
            | TokenKind::Atom => {}
        }
        if dots > DEEPEST_KEY {
            return Some(file.place(token.span().start()..token.span().end()));
        }
    }
    None
}

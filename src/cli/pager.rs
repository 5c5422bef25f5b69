//! Shows long text in the user's pager.

#![expect(
    clippy::disallowed_methods,
    reason = "edge: runs the reader's pager, and asks for the size of the terminal"
)]

use std::io::{self, Write};
use std::process::{Command, Stdio};
use terminal_size::{Height, terminal_size_of};

/// Shows `text` with its colours. If standard output is a terminal and the text is longer, it goes to `$PAGER`, or
/// `less`. Otherwise, or without such a program, it goes to `out`. An empty `$PAGER` means no pager.
pub(super) fn show(text: &[u8], out: &mut dyn Write) -> io::Result<()> {
    let lines = memchr::memchr_iter(b'\n', text).count();
    if lines < room().unwrap_or(usize::MAX) {
        return out.write_all(text);
    }
    let pager = std::env::var("PAGER").unwrap_or_else(|_| "less".to_owned());
    if pager.is_empty() || !by(&pager, text)? {
        return out.write_all(text);
    }
    Ok(())
}

/// Number of lines of the terminal; `None` if standard output is not one.
fn room() -> Option<usize> {
    let (_, Height(rows)) = terminal_size_of(io::stdout())?;
    (rows > 0).then_some(usize::from(rows))
}

/// Whether the pager showed the text. `pager` may contain arguments after the name.
fn by(pager: &str, text: &[u8]) -> io::Result<bool> {
    let mut words = pager.split_whitespace();
    let Some(program) = words.next() else {
        return Ok(false);
    };
    let mut command = Command::new(program);
    command.args(words).stdin(Stdio::piped());
    if std::env::var_os("LESS").is_none() {
        command.env("LESS", "FRX"); // Colours, and no wait at the end of a short text.
    }
    let Ok(mut child) = command.spawn() else {
        return Ok(false);
    };
    if let Some(stdin) = child.stdin.take() {
        let choice = anstream::AutoStream::choice(&io::stdout());
        let stdin: Box<dyn Write> = Box::new(stdin);
        match anstream::AutoStream::new(stdin, choice).write_all(text) {
            Err(error) if error.kind() != io::ErrorKind::BrokenPipe => return Err(error),
            Ok(()) | Err(_) => {} // The pager may be closed before the end of the text.
        }
    }
    child.wait()?;
    Ok(true)
}

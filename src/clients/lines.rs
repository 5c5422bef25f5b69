//! Splits the bytes of a client into lines of bounded length.

use super::LONGEST_LINE;
use tokio::io::{AsyncRead, AsyncReadExt};

/// Data from a client.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Sent {
    /// A line without its end; never blank.
    Line(Vec<u8>),
    /// More bytes without a line end than allowed. Nothing more is read.
    TooLong,
    /// The client will send nothing more; it may still read.
    End,
}

/// Reads lines. Cancelling [`Lines::next`] loses nothing.
#[derive(Debug)]
pub(super) struct Lines<R> {
    reader: R,
    held: Vec<u8>,
    /// Number of bytes of `held` that are known to contain no newline.
    searched: usize,
}

impl<R: AsyncRead + Unpin> Lines<R> {
    pub(super) fn new(reader: R) -> Self {
        Self {
            reader,
            held: Vec::new(),
            searched: 0,
        }
    }

    /// Whether a line has begun and not ended.
    pub(super) fn in_mid_line(&self) -> bool {
        !self.held.is_empty()
    }

    pub(super) async fn next(&mut self) -> Sent {
        loop {
            if let Some(line) = self.take_line() {
                if line.iter().all(u8::is_ascii_whitespace) {
                    continue;
                }
                return Sent::Line(line);
            }
            if self.held.len() > LONGEST_LINE {
                return Sent::TooLong;
            }
            self.held.reserve(1024);
            match self.reader.read_buf(&mut self.held).await {
                Ok(0) | Err(_) => return self.end(),
                Ok(_) => {}
            }
        }
    }

    /// The `size` bytes after the last line; `None` if the client sends fewer.
    pub(super) async fn bytes(&mut self, size: usize) -> Option<Vec<u8>> {
        self.searched = 0;
        while self.held.len() < size {
            self.held.reserve(64 * 1024);
            match self.reader.read_buf(&mut self.held).await {
                Ok(0) | Err(_) => return None,
                Ok(_) => {}
            }
        }
        let rest = self.held.split_off(size);
        Some(std::mem::replace(&mut self.held, rest))
    }

    fn take_line(&mut self) -> Option<Vec<u8>> {
        let unsearched = self.held.get(self.searched..).unwrap_or_default();
        let Some(at) = unsearched.iter().position(|byte| *byte == b'\n') else {
            self.searched = self.held.len();
            return None;
        };
        let rest = self.held.split_off(self.searched + at + 1);
        let mut line = std::mem::replace(&mut self.held, rest);
        self.searched = 0;
        line.pop();
        if line.last() == Some(&b'\r') {
            line.pop();
        }
        if line.len() > LONGEST_LINE {
            // Restores the state in which the caller sees a line that is too long, so that nothing after it is read.
            self.searched = line.len();
            self.held = line;
            return None;
        }
        Some(line)
    }

    /// The last line may lack its end, as in `printf '…' | socat - UNIX:…`.
    fn end(&mut self) -> Sent {
        let rest = std::mem::take(&mut self.held);
        self.searched = 0;
        if rest.iter().all(u8::is_ascii_whitespace) {
            Sent::End
        } else {
            Sent::Line(rest)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn all(bytes: &[u8]) -> Vec<Sent> {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .build()
            .unwrap();
        runtime.block_on(async {
            let mut lines = Lines::new(bytes);
            let mut sent = Vec::new();
            loop {
                let next = lines.next().await;
                let last = !matches!(next, Sent::Line(_));
                sent.push(next);
                if last {
                    return sent;
                }
            }
        })
    }

    #[test]
    fn lines_end_with_newline_or_with_the_stream_and_blank_ones_say_nothing() {
        let line = |text: &str| Sent::Line(text.as_bytes().to_vec());
        assert_eq!(all(b""), [Sent::End]);
        assert_eq!(
            all(b"a\r\n\n \nb\nc"),
            [line("a"), line("b"), line("c"), Sent::End]
        );
    }

    #[test]
    fn bytes_behind_a_line_are_taken_as_they_are_and_lines_go_on_behind_them() {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .build()
            .unwrap();
        runtime.block_on(async {
            let mut lines = Lines::new(&b"a\n\n\xff\r\nb\nc"[..]);
            assert_eq!(lines.next().await, Sent::Line(b"a".to_vec()));
            assert_eq!(lines.bytes(4).await, Some(b"\n\xff\r\n".to_vec()));
            assert_eq!(lines.next().await, Sent::Line(b"b".to_vec()));
            assert_eq!(lines.bytes(2).await, None);
        });
    }

    #[test]
    fn a_line_without_an_end_is_given_up_at_its_longest() {
        let longest = vec![b'x'; LONGEST_LINE];
        let mut ended = longest.clone();
        ended.push(b'\n');
        assert_eq!(all(&ended), [Sent::Line(longest), Sent::End]);
        assert_eq!(all(&vec![b'x'; LONGEST_LINE * 3]), [Sent::TooLong]);
        let mut too_long = vec![b'x'; LONGEST_LINE + 1];
        too_long.push(b'\n');
        assert_eq!(all(&too_long), [Sent::TooLong]);
    }
}

//! A small HTTP client: requests as bytes, answers as received.

use crate::harness::{Daemon, PATIENCE, Shop};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;

/// A shop whose daemon serves the page at any free port.
pub(super) fn shop() -> Shop {
    shop_with("")
}

/// The same, with more lines in `[page]`.
pub(super) fn shop_with(more: &str) -> Shop {
    let shop = Shop::new();
    let page = format!("[page]\nlisten = \"127.0.0.1:0\"\n{more}\n");
    shop.write("tallyjaw.toml", &(page + &shop.configuration()));
    shop
}

/// Address of a daemon's page.
pub(crate) fn address(daemon: &Daemon) -> String {
    let status = daemon.call("status", &json!({}));
    status["page"].as_str().unwrap().to_owned()
}

pub(super) fn token(shop: &Shop) -> String {
    let text = fs::read_to_string(shop.path("state/page.token")).unwrap();
    text.trim().to_owned()
}

/// An answer.
#[derive(Debug)]
pub(crate) struct Answer {
    pub(crate) status: u16,
    pub(super) headers: BTreeMap<String, String>,
    pub(crate) body: String,
}

impl Answer {
    pub(crate) fn json(&self) -> Value {
        serde_json::from_str(&self.body).unwrap_or_else(|error| panic!("{error} in {self:?}"))
    }
}

/// One connection.
pub(super) struct Http {
    pub(super) stream: BufReader<TcpStream>,
    host: String,
}

impl Http {
    pub(super) fn connect(address: &str) -> Self {
        let stream = TcpStream::connect(address).unwrap();
        stream.set_read_timeout(Some(PATIENCE)).unwrap();
        stream.set_write_timeout(Some(PATIENCE)).unwrap();
        Self {
            stream: BufReader::new(stream),
            host: address.to_owned(),
        }
    }

    pub(super) fn send(&mut self, bytes: &[u8]) {
        self.stream.get_mut().write_all(bytes).unwrap();
    }

    /// Status and headers; `None` if the server closes without an answer.
    pub(super) fn head(&mut self) -> Option<(u16, BTreeMap<String, String>)> {
        let mut line = String::new();
        if self.stream.read_line(&mut line).ok()? == 0 {
            return None;
        }
        let status = line.split(' ').nth(1).unwrap().parse().unwrap();
        let mut headers = BTreeMap::new();
        loop {
            let mut line = String::new();
            self.stream.read_line(&mut line).unwrap();
            let line = line.trim_end();
            if line.is_empty() {
                return Some((status, headers));
            }
            let (name, value) = line.split_once(": ").unwrap();
            headers.insert(name.to_owned(), value.to_owned());
        }
    }

    /// The next answer; `None` if the server closes without one.
    pub(super) fn answer(&mut self) -> Option<Answer> {
        let (status, headers) = self.head()?;
        let body = String::from_utf8(self.body(&headers)).unwrap();
        Some(Answer {
            status,
            headers,
            body,
        })
    }

    /// The body of an answer whose headers were read.
    pub(super) fn body(&mut self, headers: &BTreeMap<String, String>) -> Vec<u8> {
        let len = headers
            .get("content-length")
            .map_or(0, |len| len.parse().unwrap());
        let mut body = vec![0; len];
        self.stream.read_exact(&mut body).unwrap();
        body
    }

    /// GET with these headers, each with its line end.
    pub(super) fn get(&mut self, path: &str, headers: &str) -> Answer {
        let host = &self.host;
        let head = format!("GET {path} HTTP/1.1\r\nHost: {host}\r\n{headers}\r\n");
        self.send(head.as_bytes());
        self.answer().unwrap()
    }

    pub(super) fn post(&mut self, headers: &str, body: &str) -> Answer {
        let (host, len) = (&self.host, body.len());
        let head = format!(
            "POST /control HTTP/1.1\r\nHost: {host}\r\nContent-Length: {len}\r\n{headers}\r\n{body}"
        );
        self.send(head.as_bytes());
        self.answer().unwrap()
    }
}

/// GET on a connection of its own.
pub(crate) fn get(address: &str, path: &str) -> Answer {
    Http::connect(address).get(path, "")
}

/// One command with the token; the whole answer.
pub(super) fn command(address: &str, token: &str, method: &str, params: &Value) -> Value {
    let headers = format!("Authorization: Bearer {token}\r\nContent-Type: application/json\r\n");
    let request = json!({"jsonrpc": "2.0", "id": 1, "method": method, "params": params});
    let answer = Http::connect(address).post(&headers, &request.to_string());
    assert_eq!(answer.status, 200, "{answer:?}");
    answer.json()
}

/// An event of an event stream.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Event {
    /// `message` if the event has no name.
    pub(super) name: String,
    pub(super) id: Option<u64>,
    pub(super) data: String,
}

/// A client of the event stream.
pub(crate) struct Events {
    http: Http,
    /// Bytes that were received and not parsed yet.
    held: Vec<u8>,
}

impl Events {
    /// Connects; continues after an entry if one is given.
    pub(crate) fn open(address: &str, after: Option<u64>) -> Self {
        let headers = after.map_or(String::new(), |after| format!("Last-Event-ID: {after}\r\n"));
        Self::open_with(address, "/events?state=each", &headers)
    }

    pub(super) fn open_with(address: &str, path: &str, headers: &str) -> Self {
        let mut http = Http::connect(address);
        let head = format!("GET {path} HTTP/1.1\r\nHost: {address}\r\n{headers}\r\n");
        http.send(head.as_bytes());
        let (status, headers) = http.head().unwrap();
        assert_eq!(status, 200);
        assert_eq!(headers["content-type"], "text/event-stream; charset=utf-8");
        assert_eq!(headers["transfer-encoding"], "chunked");
        Self {
            http,
            held: Vec::new(),
        }
    }

    /// Reads a chunk into `held`. Returns whether there was one.
    fn chunk(&mut self) -> bool {
        let mut size = String::new();
        if self.http.stream.read_line(&mut size).unwrap_or(0) == 0 {
            return false;
        }
        let size = usize::from_str_radix(size.trim(), 16).unwrap();
        let mut chunk = vec![0; size + 2];
        if self.http.stream.read_exact(&mut chunk).is_err() {
            return false;
        }
        self.held.extend_from_slice(&chunk[..size]);
        size > 0
    }

    /// The next event; `None` at the end. Comments are skipped.
    pub(super) fn next(&mut self) -> Option<Event> {
        loop {
            let end = self.held.windows(2).position(|two| two == b"\n\n");
            let Some(end) = end else {
                if self.chunk() {
                    continue;
                }
                return None;
            };
            let rest = self.held.split_off(end + 2);
            let text = String::from_utf8(std::mem::replace(&mut self.held, rest)).unwrap();
            let field = |name: &str| {
                let mut lines = text.lines();
                lines.find_map(|line| line.strip_prefix(name)?.strip_prefix(": "))
            };
            if let Some(data) = field("data") {
                return Some(Event {
                    name: field("event").unwrap_or("message").to_owned(),
                    id: field("id").map(|id| id.parse().unwrap()),
                    data: data.to_owned(),
                });
            }
        }
    }

    /// The next entry, as a line with its number. States are skipped.
    pub(super) fn entry(&mut self) -> Option<(u64, String)> {
        loop {
            let event = self.next()?;
            if event.name == "message" {
                return Some((event.id.unwrap(), event.data + "\n"));
            }
        }
    }

    /// Skips events up to one with this name that is `wanted`.
    pub(crate) fn wait_for(&mut self, name: &str, wanted: impl Fn(&Value) -> bool) -> Value {
        loop {
            let event = self.next().expect("the stream has ended");
            if event.name == name {
                let data = serde_json::from_str(&event.data).unwrap();
                if wanted(&data) {
                    return data;
                }
            }
        }
    }
}

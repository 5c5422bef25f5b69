//! A receiver of HTTP or HTTPS that does with each request what a test wants.

use rustls::{ServerConfig, ServerConnection, StreamOwned};
use serde_json::{Map, Value};
use std::collections::BTreeMap;
use std::io::{BufRead as _, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::Instant;

/// A request as it came.
#[derive(Debug, Clone)]
pub(super) struct Request {
    pub(super) headers: BTreeMap<String, String>,
    pub(super) body: Vec<u8>,
    pub(super) at: Instant,
}

/// What is done with a request.
#[derive(Debug, Clone)]
pub(super) enum Does {
    /// Takes it.
    Takes,
    /// Sends these bytes and closes.
    Answers(String),
    /// Is silent until the other side closes.
    Silent,
}

/// An answer without a body.
pub(super) fn status(status: &str, headers: &str) -> Does {
    Does::Answers(format!(
        "HTTP/1.1 {status}\r\n{headers}Content-Length: 0\r\nConnection: close\r\n\r\n"
    ))
}

/// The number of a request, from 0, and the request.
pub(super) type Script = Box<dyn FnMut(usize, &Request) -> Does + Send>;
type Requests = Arc<Mutex<Vec<(Request, bool)>>>;

/// A running receiver.
pub(super) struct Receiver {
    pub(super) port: u16,
    requests: Requests,
}

impl Receiver {
    /// Listens at once. The doors are those of its connections, the last for all that follow; none is plain HTTP.
    pub(super) fn start(doors: Vec<Arc<ServerConfig>>, script: Script) -> Self {
        Self::on(TcpListener::bind("127.0.0.1:0").unwrap(), doors, script)
    }

    pub(super) fn on(
        listener: TcpListener,
        doors: Vec<Arc<ServerConfig>>,
        mut script: Script,
    ) -> Self {
        let port = listener.local_addr().unwrap().port();
        let requests = Requests::default();
        let all = Arc::clone(&requests);
        thread::spawn(move || {
            let mut doors = doors;
            let mut number = 0;
            for stream in listener.incoming().map_while(Result::ok) {
                let door = doors.first().cloned();
                if doors.len() > 1 {
                    doors.remove(0);
                }
                connection(stream, door, &mut number, &mut script, &all);
            }
        });
        Self { port, requests }
    }

    /// The requests so far, and whether each was taken.
    pub(super) fn requests(&self) -> Vec<(Request, bool)> {
        self.requests.lock().unwrap().clone()
    }

    /// The events that were taken, in the structured form.
    pub(super) fn events(&self) -> Vec<Value> {
        let taken = self.requests().into_iter().filter(|(_, taken)| *taken);
        taken
            .flat_map(|(request, _)| events(&request.headers, &request.body))
            .collect()
    }
}

fn connection(
    stream: TcpStream,
    door: Option<Arc<ServerConfig>>,
    number: &mut usize,
    script: &mut Script,
    all: &Requests,
) {
    match door {
        None => exchange(stream, number, script, all),
        Some(door) => {
            let secure = ServerConnection::new(door).unwrap();
            exchange(StreamOwned::new(secure, stream), number, script, all);
        }
    }
}

/// Requests of one connection. One that fails is the other side's affair.
fn exchange(stream: impl Read + Write, number: &mut usize, script: &mut Script, all: &Requests) {
    let mut reader = BufReader::new(stream);
    while let Some(request) = next(&mut reader) {
        let does = script(*number, &request);
        *number += 1;
        let taken = matches!(does, Does::Takes);
        all.lock().unwrap().push((request, taken));
        let (bytes, ends) = match does {
            Does::Takes => ("HTTP/1.1 204 No Content\r\n\r\n".to_owned(), false),
            Does::Answers(bytes) => (bytes, true),
            Does::Silent => {
                let _ = reader.read(&mut [0]);
                return;
            }
        };
        let stream = reader.get_mut();
        let sent = stream
            .write_all(bytes.as_bytes())
            .and_then(|()| stream.flush());
        if ends || sent.is_err() {
            return;
        }
    }
}

fn next(reader: &mut BufReader<impl Read>) -> Option<Request> {
    let mut headers = BTreeMap::new();
    let mut first = String::new();
    if reader.read_line(&mut first).ok()? == 0 {
        return None;
    }
    assert!(first.starts_with("POST /crimps?x=1 HTTP/1.1"), "{first}");
    loop {
        let mut line = String::new();
        if reader.read_line(&mut line).ok()? == 0 {
            return None;
        }
        let Some((name, value)) = line.trim_end().split_once(": ") else {
            break;
        };
        headers.insert(name.to_lowercase(), value.to_owned());
    }
    let mut body = vec![0; headers["content-length"].parse().unwrap()];
    reader.read_exact(&mut body).ok()?;
    Some(Request {
        headers,
        body,
        at: Instant::now(),
    })
}

/// The events of a request, all in the structured form, by the JSON format and the HTTP binding of `CloudEvents` 1.0.
pub(super) fn events(headers: &BTreeMap<String, String>, body: &[u8]) -> Vec<Value> {
    let kind = headers["content-type"].split(';').next().unwrap().trim();
    let json: Value = serde_json::from_slice(body).unwrap();
    match kind {
        "application/cloudevents+json" => vec![json],
        "application/cloudevents-batch+json" => json.as_array().unwrap().clone(),
        kind => {
            let attributes = headers.iter().filter_map(|(name, value)| {
                let name = name.strip_prefix("ce-")?;
                let value = percent_encoding::percent_decode_str(value);
                let value = value.decode_utf8().unwrap().into_owned();
                // An Integer has no type in a header. Ours is `seq`.
                let value = match name {
                    "seq" => value.parse::<i32>().unwrap().into(),
                    _ => value.into(),
                };
                Some((name.to_owned(), value))
            });
            let mut event: Map<String, Value> = attributes.collect();
            event.insert("datacontenttype".to_owned(), kind.into());
            event.insert("data".to_owned(), json);
            vec![event.into()]
        }
    }
}

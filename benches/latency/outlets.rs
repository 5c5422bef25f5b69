//! Receivers of sinks: an HTTP server, a subscriber of a broker, and a client of a database, beside a client of the feed.

use super::{Child, Contestant, PATIENCE, QUIET, Result, WARM_UP, daemon, summary, table};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::time::{Duration, Instant};

/// The text of a message, and when it was there.
pub(super) type Arrival = (Instant, String);

/// A receiver under its name in tables.
pub(super) struct Outlet {
    pub(super) name: &'static str,
    pub(super) arrivals: Receiver<Arrival>,
    pub(super) _processes: Vec<Child>,
}

impl Outlet {
    /// When the reading of this value arrived.
    fn arrived(&self, value: &str) -> Result<Instant> {
        let awaited = format!("\"value\":{value}");
        loop {
            let (at, text) = self.arrivals.recv_timeout(PATIENCE)?;
            if text.contains(&awaited) && text.contains("\"verdict\":\"pass\"") {
                return Ok(at);
            }
        }
    }
}

/// Measures each outlet and the feed by the same presses.
pub(super) fn measure(folder: &Path, samples: usize) -> Result<()> {
    std::fs::create_dir_all(folder)?;
    let (port, webhook) = webhook()?;
    let (broker, mqtt) = mqtt(folder)?;
    let (database, postgres) = table::start(folder)?;
    let sinks = format!(
        "[[sink]]\nname = \"web\"\nkind = \"webhook\"\nurl = \"http://127.0.0.1:{port}/\"\n\n\
         [[sink]]\nname = \"plant\"\nkind = \"mqtt\"\nbroker = \"mqtt://127.0.0.1:{broker}\"\n\n\
         [[sink]]\nname = \"db\"\nkind = \"postgres\"\ndatabase = \"postgres://127.0.0.1:{database}/postgres\"\n"
    );
    let at = folder.join("daemon");
    let mut whole = daemon::start_with(&daemon::ours(), &at, true, "", &sinks)?;
    let outlets = [webhook, mqtt, postgres];
    let mut feed = Vec::new();
    let mut times = [Vec::new(), Vec::new(), Vec::new()];
    for number in 0..WARM_UP + samples {
        std::thread::sleep(QUIET);
        let start = Instant::now();
        feed.push(whole.sample(number)?);
        let value = Contestant::value(number)?.to_string();
        for (outlet, times) in outlets.iter().zip(&mut times) {
            times.push(outlet.arrived(&value)?.saturating_duration_since(start));
        }
    }
    let counted = |times: &[Duration]| times.get(WARM_UP..).unwrap_or_default().to_vec();
    let feed = counted(&feed);
    for (outlet, times) in outlets.iter().zip(&times) {
        println!(
            "\n{}, by the same presses as the feed, with fdatasync:",
            outlet.name
        );
        summary::print((outlet.name, &counted(times)), ("feed", &feed));
    }
    Ok(())
}

/// A receiver that takes every request. A request is there when its body was read, before it is answered.
fn webhook() -> Result<(u16, Outlet)> {
    let listener = TcpListener::bind("127.0.0.1:0")?;
    let port = listener.local_addr()?.port();
    let (came, arrivals) = channel();
    std::thread::spawn(move || {
        for stream in listener.incoming().map_while(std::result::Result::ok) {
            let _ = requests(stream, &came);
        }
    });
    let outlet = Outlet {
        name: "webhook",
        arrivals,
        _processes: Vec::new(),
    };
    Ok((port, outlet))
}

fn requests(stream: TcpStream, came: &Sender<Arrival>) -> Result<()> {
    stream.set_nodelay(true)?;
    let mut reader = BufReader::new(stream);
    loop {
        let mut length = 0;
        loop {
            let mut line = String::new();
            if reader.read_line(&mut line)? == 0 {
                return Ok(());
            }
            if line == "\r\n" {
                break;
            }
            if let Some(text) = line.to_lowercase().strip_prefix("content-length:") {
                length = text.trim().parse()?;
            }
        }
        let mut body = vec![0; length];
        reader.read_exact(&mut body)?;
        came.send((Instant::now(), String::from_utf8(body)?))?;
        reader
            .get_mut()
            .write_all(b"HTTP/1.1 204 No Content\r\n\r\n")?;
    }
}

/// A broker with its own subscriber. A message is there when a line of its output was read.
fn mqtt(folder: &Path) -> Result<(u16, Outlet)> {
    let port = TcpListener::bind("127.0.0.1:0")?.local_addr()?.port();
    let file = folder.join("mosquitto.conf");
    std::fs::write(
        &file,
        format!(
            "listener {port} 127.0.0.1\nallow_anonymous true\nset_tcp_nodelay true\nmax_inflight_messages 0\n"
        ),
    )?;
    let broker = Command::new("mosquitto")
        .arg("-c")
        .arg(&file)
        .stderr(Stdio::null())
        .spawn()?;
    let deadline = Instant::now() + PATIENCE;
    while TcpStream::connect(("127.0.0.1", port)).is_err() {
        if Instant::now() > deadline {
            return Err("the broker does not listen".into());
        }
        std::thread::sleep(Duration::from_millis(5));
    }
    let mut reader = Command::new("mosquitto_sub")
        .args(["-V", "mqttv5", "-q", "1", "-t", "tallyjaw/entries/#"])
        .args(["-p", &port.to_string()])
        .stdout(Stdio::piped())
        .spawn()?;
    let lines = reader.stdout.take().ok_or("no output of mosquitto_sub")?;
    let (came, arrivals) = channel();
    std::thread::spawn(move || {
        for line in BufReader::new(lines)
            .lines()
            .map_while(std::result::Result::ok)
        {
            if came.send((Instant::now(), line)).is_err() {
                return;
            }
        }
    });
    let outlet = Outlet {
        name: "mqtt",
        arrivals,
        _processes: vec![Child(reader), Child(broker)],
    };
    Ok((port, outlet))
}

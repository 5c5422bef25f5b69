//! Receivers of sinks: servers of HTTP and HTTPS, a subscriber of a broker, and a client of a database, beside clients of the
//! feed.

use super::{Child, Contestant, PATIENCE, QUIET, Result, WARM_UP, cost, daemon, summary, table};
use rustls::pki_types::pem::PemObject as _;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use rustls::{ServerConfig, ServerConnection, StreamOwned};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::time::{Duration, Instant};

/// The text of a message, and when it was there.
pub(super) type Arrival = (Instant, String);

/// A receiver under its name in tables.
pub(super) struct Outlet {
    pub(super) name: &'static str,
    /// What the configuration says of it.
    pub(super) sink: String,
    pub(super) arrivals: Receiver<Arrival>,
    /// What ends with it.
    pub(super) _holds: Box<dyn std::any::Any>,
}

impl Outlet {
    /// When the reading of this value arrived.
    pub(super) fn arrived(&self, value: &str) -> Result<Instant> {
        let awaited = format!("\"value\":{value}");
        loop {
            let (at, text) = self.arrivals.recv_timeout(PATIENCE)?;
            if text.contains(&awaited) && text.contains("\"verdict\":\"pass\"") {
                return Ok(at);
            }
        }
    }
}

/// Measures the delay of each outlet and of the feed by the same presses, then what each costs.
pub(super) fn measure(folder: &Path, samples: usize) -> Result<()> {
    std::fs::create_dir_all(folder)?;
    let outlets = [
        webhook(folder, "webhook", None)?,
        webhook(folder, "https", Some(folder))?,
        mqtt(folder)?,
        table::start()?,
    ];
    delay(folder, &outlets, samples)?;
    cost::measure(folder, &outlets, samples)
}

/// All at one daemon at once.
fn delay(folder: &Path, outlets: &[Outlet], samples: usize) -> Result<()> {
    let sinks: String = outlets.iter().map(|outlet| outlet.sink.as_str()).collect();
    let at = folder.join("daemon");
    let mut whole = daemon::start_with(&daemon::ours(), &at, true, "", &sinks)?;
    let each = each(&at)?;
    let all: Vec<&Outlet> = std::iter::once(&each).chain(outlets).collect();
    let mut feed = Vec::new();
    let mut times = vec![Vec::new(); all.len()];
    for number in 0..WARM_UP + samples {
        std::thread::sleep(QUIET);
        let start = Instant::now();
        feed.push(whole.sample(number)?);
        let value = Contestant::value(number)?.to_string();
        for (outlet, times) in all.iter().zip(&mut times) {
            times.push(outlet.arrived(&value)?.saturating_duration_since(start));
        }
    }
    let counted = |times: &[Duration]| times.get(WARM_UP..).unwrap_or_default().to_vec();
    let feed = counted(&feed);
    for (outlet, times) in all.iter().zip(&times) {
        println!(
            "\n{}, by the same presses as the feed, with fdatasync:",
            outlet.name
        );
        summary::print((outlet.name, &counted(times)), ("feed", &feed));
    }
    Ok(())
}

/// A client of the feed that asks for each state. One is there when its line was read.
pub(super) fn each(daemon: &Path) -> Result<Outlet> {
    let mut feed = BufReader::new(super::connect(&daemon.join("run/feed.sock"))?);
    feed.get_mut().write_all(b"{\"state\":\"each\"}\n")?;
    let (came, arrivals) = channel();
    std::thread::spawn(move || {
        for line in feed.lines().map_while(std::result::Result::ok) {
            let at = Instant::now();
            if !line.contains("\"kind\":\"state\"") {
                continue;
            }
            let last = line.split_once("\"last\":{");
            let last = last.and_then(|(_, last)| last.split_once('}'));
            let Some((last, _)) = last else { continue };
            if came.send((at, last.to_owned())).is_err() {
                return;
            }
        }
    });
    Ok(Outlet {
        name: "feed, states",
        sink: String::new(),
        arrivals,
        _holds: Box::new(()),
    })
}

/// A receiver that takes every request. A request is there when its body was read, before it is answered.
fn webhook(folder: &Path, name: &'static str, tls: Option<&Path>) -> Result<Outlet> {
    let listener = TcpListener::bind("127.0.0.1:0")?;
    let port = listener.local_addr()?.port();
    let door = tls.map(door).transpose()?;
    let (address, keys) = match door {
        None => (format!("http://127.0.0.1:{port}/"), String::new()),
        Some(_) => (
            format!("https://localhost:{port}/"),
            format!("ca_file = \"{}\"\n", folder.join("web.pem").display()),
        ),
    };
    let (came, arrivals) = channel();
    std::thread::spawn(move || {
        for stream in listener.incoming().map_while(std::result::Result::ok) {
            let _ = connection(stream, door.clone(), &came);
        }
    });
    Ok(Outlet {
        name,
        sink: format!(
            "\n[[sink]]\nname = \"{name}\"\nkind = \"webhook\"\nurl = \"{address}\"\n{keys}"
        ),
        arrivals,
        _holds: Box::new(()),
    })
}

/// The door of a server with a certificate of its own, which is left in the folder.
fn door(folder: &Path) -> Result<Arc<ServerConfig>> {
    let made = Command::new("openssl")
        .args(["req", "-x509", "-newkey", "ec", "-nodes", "-days", "2"])
        .args(["-pkeyopt", "ec_paramgen_curve:prime256v1"])
        .args(["-subj", "/CN=localhost", "-addext"])
        .args(["subjectAltName=DNS:localhost", "-addext"])
        .args(["basicConstraints=critical,CA:FALSE"])
        .args(["-keyout", "web.key", "-out", "web.pem"])
        .current_dir(folder)
        .output()?;
    if !made.status.success() {
        return Err(format!("openssl: {made:?}").into());
    }
    let certificate = CertificateDer::from_pem_file(folder.join("web.pem"))?;
    let key = PrivateKeyDer::from_pem_file(folder.join("web.key"))?;
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let config = ServerConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()?
        .with_no_client_auth()
        .with_single_cert(vec![certificate], key)?;
    Ok(Arc::new(config))
}

fn connection(
    stream: TcpStream,
    door: Option<Arc<ServerConfig>>,
    came: &Sender<Arrival>,
) -> Result<()> {
    stream.set_nodelay(true)?;
    match door {
        None => requests(stream, came),
        Some(door) => requests(StreamOwned::new(ServerConnection::new(door)?, stream), came),
    }
}

fn requests(stream: impl Read + Write, came: &Sender<Arrival>) -> Result<()> {
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
        let stream = reader.get_mut();
        stream.write_all(b"HTTP/1.1 204 No Content\r\n\r\n")?;
        stream.flush()?;
    }
}

/// A broker with its own subscriber. A message is there when a line of its output was read.
fn mqtt(folder: &Path) -> Result<Outlet> {
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
    Ok(Outlet {
        name: "mqtt",
        sink: format!(
            "\n[[sink]]\nname = \"plant\"\nkind = \"mqtt\"\nbroker = \"mqtt://127.0.0.1:{port}\"\n"
        ),
        arrivals,
        _holds: Box::new([Child(reader), Child(broker)]),
    })
}

//! The MQTT sink with a real broker (mosquitto, installed by `./check`) and its own subscriber.

mod outages;
mod refused;

use crate::harness::{PATIENCE, Shop};
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::fs;
use std::io::{BufRead, BufReader};
use std::net::{TcpListener, TcpStream};
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::thread;
use std::time::{Duration, Instant};
use tallyjaw::entry::line::Digest;

fn run(program: &str, arguments: &[&str]) {
    let done = Command::new(program).args(arguments).output();
    let done = done.unwrap_or_else(|error| panic!("{program}: {error}; ./check installs it"));
    assert!(done.status.success(), "{program} {arguments:?}: {done:?}");
}

/// A broker for this test, in the shop's folder.
pub(crate) struct Broker {
    child: Child,
    port: u16,
    config: String,
}

impl Broker {
    /// Starts it with more lines of configuration.
    pub(crate) fn start(shop: &Shop, port: u16, more: &str) -> Self {
        // Whatever it has acknowledged is already on its way to who has subscribed, and who has is remembered.
        let folder = shop.dir.path().display();
        let text = format!(
            "user root\nlistener {port} 127.0.0.1\npersistence true\npersistence_location {folder}/\nautosave_interval 1\n\
             autosave_on_changes true\nmax_inflight_messages 0\nmax_queued_messages 0\n{more}\n"
        );
        shop.write("mosquitto.conf", &text);
        let config = shop.path("mosquitto.conf").display().to_string();
        let child = Self::spawn(&config, port);
        Self {
            child,
            port,
            config,
        }
    }

    fn spawn(config: &str, port: u16) -> Child {
        let mut child = Command::new("mosquitto")
            .args(["-c", config])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap_or_else(|error| panic!("mosquitto: {error}; ./check installs it"));
        let deadline = Instant::now() + PATIENCE;
        while TcpStream::connect(("127.0.0.1", port)).is_err() {
            assert!(Instant::now() < deadline, "the broker does not listen");
            assert!(child.try_wait().unwrap().is_none(), "the broker has ended");
            thread::sleep(Duration::from_millis(5));
        }
        child
    }

    fn kill(&mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    fn restart(&mut self) {
        self.child = Self::spawn(&self.config, self.port);
    }
}

impl Drop for Broker {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

pub(crate) fn free_port() -> u16 {
    let listener = TcpListener::bind(("127.0.0.1", 0)).unwrap();
    listener.local_addr().unwrap().port()
}

/// A broker lets nobody else in under the name of who is there.
static NEXT_READER: AtomicU32 = AtomicU32::new(1);

/// Messages that the broker's own subscriber received.
pub(crate) struct Subscriber {
    child: Child,
    messages: Receiver<Message>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Message {
    pub(crate) topic: String,
    identity: String,
    pub(crate) payload: String,
}

impl Subscriber {
    pub(crate) fn new(port: u16, filter: &str) -> Self {
        Self::with(port, filter, &[])
    }

    fn secure(port: u16, authority: &str) -> Self {
        let secure = ["--cafile", authority, "-h", "localhost"];
        Self::with(port, "tallyjaw/entries/#", &secure)
    }

    fn with(port: u16, filter: &str, more: &[&str]) -> Self {
        let id = NEXT_READER.fetch_add(1, Ordering::Relaxed);
        Self::named(port, filter, more, &format!("reader-{id}"))
    }

    fn named(port: u16, filter: &str, more: &[&str], id: &str) -> Self {
        // It says each step (-d), so that the test begins when the broker has it; a line at a time, also into a pipe.
        let mut child = Command::new("stdbuf")
            .args(["-oL", "mosquitto_sub", "-d"])
            .args(more)
            .args([
                "-V",
                "mqttv5",
                "-p",
                &port.to_string(),
                "-q",
                "1",
                "-t",
                filter,
            ])
            .args(["-i", id, "-c", "-x", "3600", "-F", "%t\t%P\t%p"])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap_or_else(|error| panic!("mosquitto_sub: {error}; ./check installs it"));
        let lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let (sender, messages) = channel();
        let (is_there, there) = channel();
        thread::spawn(move || {
            for line in lines.map_while(Result::ok) {
                if !line.contains('\t') {
                    if line.starts_with("Subscribed") {
                        let _ = is_there.send(());
                    }
                    continue;
                }
                let mut parts = line.splitn(3, '\t').map(str::to_owned);
                let mut next = || parts.next().unwrap_or_default();
                let (topic, identity, payload) = (next(), next(), next());
                let message = Message {
                    topic,
                    identity,
                    payload,
                };
                if sender.send(message).is_err() {
                    return;
                }
            }
        });
        let there = there.recv_timeout(PATIENCE);
        there.unwrap_or_else(|error| panic!("the broker has no subscriber: {error}"));
        Self { child, messages }
    }

    pub(crate) fn next(&self) -> Message {
        match self.messages.recv_timeout(PATIENCE) {
            Ok(message) => message,
            Err(error @ (RecvTimeoutError::Timeout | RecvTimeoutError::Disconnected)) => {
                panic!("no message came: {error}")
            }
        }
    }

    /// Everything up to the message whose payload holds `end`.
    pub(crate) fn up_to(&self, end: &str) -> Vec<Message> {
        let mut all = Vec::new();
        loop {
            all.push(self.next());
            if all.last().unwrap().payload.contains(end) {
                return all;
            }
        }
    }
}

impl Drop for Subscriber {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn configure(shop: &Shop, keys: &str) {
    let text = format!(
        "{}\n[[sink]]\nname = \"plant\"\nkind = \"mqtt\"\n{keys}\n",
        shop.configuration()
    );
    shop.write("tallyjaw.toml", &text);
}

fn seq(payload: &str) -> u64 {
    let entry: Value = serde_json::from_str(payload).unwrap();
    entry["seq"].as_u64().unwrap()
}

/// Each line of the journal came at least once, and first arrivals were in order.
fn assert_complete(shop: &Shop, messages: &[Message]) {
    let lines = shop.journal_lines();
    let mut first = Vec::new();
    let mut seen = BTreeSet::new();
    for message in messages {
        if seen.insert(seq(&message.payload)) {
            first.push(format!("{}\n", message.payload));
        }
    }
    assert_eq!(first, lines[..first.len()], "{} lines", lines.len());
}

#[test]
fn every_entry_is_published_as_it_is_stored_and_the_newest_state_is_retained() {
    let mut shop = Shop::new();
    let port = free_port();
    let _broker = Broker::start(&shop, port, "allow_anonymous true");
    configure(
        &shop,
        &format!("broker = \"mqtt://127.0.0.1:{port}\"\ntopic = \"shop/left\""),
    );
    let entries = Subscriber::new(port, "shop/left/entries/#");
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    daemon.call("arm", &json!({"plan": "no-zero"}));
    shop.press(163);
    feed.wait_for("reading");
    let (status, took) = daemon.stop();
    assert!(status.success());
    assert!(took < Duration::from_secs(1), "{took:?}");

    let got = entries.up_to("\"kind\":\"stopped\"");
    let lines = shop.journal_lines();
    let journal = serde_json::from_str::<Value>(&lines[0]).unwrap()["journal"].clone();
    let journal = journal.as_str().unwrap();
    let want: Vec<_> = lines.iter().map(|line| message(line, journal)).collect();
    assert_eq!(got, want);

    let late = Subscriber::new(port, "shop/left/+/+");
    let retained: BTreeMap<_, _> = (0..4)
        .map(|_| late.next())
        .map(|message| {
            (
                message.topic,
                serde_json::from_str::<Value>(&message.payload).unwrap(),
            )
        })
        .collect();
    assert_eq!(
        retained[&format!("shop/left/status/{journal}")],
        json!({"online": false})
    );
    let last = lines.last().unwrap();
    assert_eq!(
        retained[&format!("shop/left/anchors/{journal}")],
        json!({"journal": journal, "seq": lines.len(), "digest": Digest::of(last.trim_end().as_bytes())})
    );
    let station = &retained["shop/left/stations/bench-1"];
    assert_eq!(station["last"]["value"], json!(1.63));
    assert_eq!(
        retained["shop/left/instruments/caliper-1"]["attached"],
        json!(true)
    );
}

/// The message that a line must become.
fn message(line: &str, journal: &str) -> Message {
    let entry: Value = serde_json::from_str(line).unwrap();
    let station = entry["station"].as_str().unwrap_or("-");
    let kind = entry["kind"].as_str().unwrap();
    Message {
        topic: format!("shop/left/entries/{journal}/{station}/{kind}"),
        identity: format!("identity:{journal}/{}", entry["seq"]),
        payload: line.trim_end().to_owned(),
    }
}

#[test]
fn a_broker_killed_ten_times_under_load_and_a_daemon_killed_too_lose_no_entry_and_no_order() {
    let mut shop = Shop::new();
    let port = free_port();
    let mut broker = Broker::start(&shop, port, "allow_anonymous true");
    configure(&shop, &format!("broker = \"mqtt://127.0.0.1:{port}\""));
    let entries = Subscriber::new(port, "tallyjaw/entries/#");
    let mut daemon = shop.start();
    let mut feed = daemon.connected_feed();
    daemon.call("arm", &json!({"plan": "no-zero"}));
    feed.wait_for("armed");
    let mut all = Vec::new();
    for round in 0..10 {
        let load = |shop: &mut Shop, feed: &mut crate::harness::Lines| {
            for value in 0..20 {
                // Never twice the same in a row, of which the second may be a press that bounced.
                shop.press(158 + (value + 2 * round) % 9);
                feed.wait_for("reading");
            }
        };
        load(&mut shop, &mut feed);
        broker.kill(); // killed while entries are on their way
        load(&mut shop, &mut feed);
        if round == 5 {
            drop(feed);
            daemon.kill();
            daemon = shop.start();
            feed = daemon.connected_feed();
        }
        broker.restart();
        load(&mut shop, &mut feed);
        let text = format!("end of round {round}.");
        daemon.call("note", &json!({ "text": text }));
        all.extend(entries.up_to(&text));
    }
    assert!(daemon.stop().0.success());
    all.extend(entries.up_to("\"kind\":\"stopped\",\"prev\""));
    assert_complete(&shop, &all);
    let last = shop.journal_lines().len();
    assert!(
        all.iter()
            .any(|message| usize::try_from(seq(&message.payload)) == Ok(last))
    );
}

#[test]
fn a_daemon_that_is_gone_is_told_of_by_its_last_will() {
    let shop = Shop::new();
    let port = free_port();
    let _broker = Broker::start(&shop, port, "allow_anonymous true");
    configure(&shop, &format!("broker = \"mqtt://127.0.0.1:{port}\""));
    let status = Subscriber::new(port, "tallyjaw/status/+");
    let daemon = shop.start();
    assert_eq!(status.next().payload, "{\"online\":true}");
    daemon.kill();
    assert_eq!(status.next().payload, "{\"online\":false}");
}

#[test]
fn a_wrong_password_is_said_with_what_to_do_and_the_entries_come_when_it_is_right() {
    let shop = Shop::new();
    let port = free_port();
    let passwords = shop.path("passwords").display().to_string();
    run(
        "mosquitto_passwd",
        &["-b", "-c", &passwords, "mara", "right"],
    );
    let more = format!("allow_anonymous false\npassword_file {passwords}");
    let _broker = Broker::start(&shop, port, &more);
    let login = ["-u", "mara", "-P", "right"];
    let entries = Subscriber::with(port, "tallyjaw/entries/#", &login);
    shop.write("password", "wrong\n");
    configure(
        &shop,
        &format!(
            "broker = \"mqtt://127.0.0.1:{port}\"\nuser = \"mara\"\npassword_file = \"password\""
        ),
    );
    let daemon = shop.start();
    let deadline = Instant::now() + PATIENCE;
    while !shop.messages().contains("refused the connection") {
        assert!(Instant::now() < deadline, "{}", shop.messages());
        thread::sleep(Duration::from_millis(5));
    }
    let messages = shop.messages();
    assert!(
        messages.contains("`user` and `password_file`"),
        "{messages}"
    );
    assert!(!messages.contains("wrong\n"), "{messages}");
    shop.write("password", "right\n");
    let deadline = Instant::now() + PATIENCE;
    while !shop.messages().contains("takes entries again") {
        assert!(Instant::now() < deadline, "{}", shop.messages());
        thread::sleep(Duration::from_millis(5));
    }
    daemon.call("note", &json!({"text": "the last of all."}));
    assert_complete(&shop, &entries.up_to("the last of all."));
    assert!(daemon.stop().0.success());
    let cursor = fs::read_to_string(shop.path("state/sinks/plant")).unwrap();
    assert!(
        cursor.ends_with(&format!(" {}\n", shop.journal_lines().len())),
        "{cursor}"
    );
}

#[test]
fn a_secure_line_needs_an_authority_that_is_known() {
    let shop = Shop::new();
    let port = free_port();
    let path = |name: &str| shop.path(name).display().to_string();
    let (key, cert) = (path("key.pem"), path("cert.pem"));
    run(
        "openssl",
        &[
            "req",
            "-x509",
            "-newkey",
            "ec",
            "-pkeyopt",
            "ec_paramgen_curve:prime256v1",
            "-nodes",
            "-days",
            "2",
            "-subj",
            "/CN=localhost",
            "-addext",
            "subjectAltName=DNS:localhost",
            "-addext",
            "basicConstraints=critical,CA:FALSE",
            "-keyout",
            &key,
            "-out",
            &cert,
        ],
    );
    let mut more = String::from("allow_anonymous true\n");
    let _ = writeln!(more, "certfile {cert}\nkeyfile {key}");
    let _broker = Broker::start(&shop, port, &more);
    let broker = format!("broker = \"mqtts://localhost:{port}\"");
    configure(&shop, &broker);
    let daemon = shop.start();
    let deadline = Instant::now() + PATIENCE;
    while !shop.messages().contains("no TLS connection") {
        assert!(Instant::now() < deadline, "{}", shop.messages());
        thread::sleep(Duration::from_millis(5));
    }
    assert!(
        shop.messages().contains("look at `ca_file`"),
        "{}",
        shop.messages()
    );
    assert!(daemon.stop().0.success());

    configure(&shop, &format!("{broker}\nca_file = \"cert.pem\""));
    let entries = Subscriber::secure(port, &cert);
    let daemon = shop.start();
    daemon.call("note", &json!({"text": "the last of all."}));
    assert_complete(&shop, &entries.up_to("the last of all."));
    assert!(daemon.stop().0.success());
}

/// The sink beside the verdict log, in `status`.
fn plant(daemon: &crate::harness::Daemon) -> Value {
    let status = daemon.call("status", &json!({}));
    let sinks = status["sinks"].as_array().unwrap();
    let plant = sinks.iter().find(|sink| sink["sink"] == "plant");
    plant.unwrap().clone()
}

/// Repeats the request until the condition holds.
fn plant_until(daemon: &crate::harness::Daemon, is_so: impl Fn(&Value) -> bool) -> Value {
    let deadline = Instant::now() + PATIENCE;
    loop {
        let plant = plant(daemon);
        if is_so(&plant) {
            return plant;
        }
        assert!(Instant::now() < deadline, "{plant}");
        thread::sleep(Duration::from_millis(5));
    }
}

#[test]
fn a_broker_that_lets_us_in_and_takes_nothing_is_one_failure_in_the_log_and_in_status_until_it_takes_an_entry()
 {
    let shop = Shop::new();
    let port = free_port();
    // A refused last will ends the connection before anything else shows.
    let acl = |rights: &str| {
        shop.write(
            "acl",
            &format!("topic readwrite tallyjaw/status/#\ntopic {rights} #\n"),
        );
    };
    acl("read");
    // With a limit of its own the broker answers a refused message; without one it resets the connection.
    let more = format!(
        "allow_anonymous true\nmax_inflight_messages 20\nacl_file {}",
        shop.path("acl").display()
    );
    let broker = Broker::start(&shop, port, &more);
    configure(&shop, &format!("broker = \"mqtt://127.0.0.1:{port}\""));
    let daemon = shop.start();
    // It ends the connection behind its answer, which may be seen first: the remedy says what to permit in both cases.
    let said = || {
        let messages = shop.messages();
        let failures = messages
            .lines()
            .filter(|line| line.contains("the sink fails"));
        let errors = failures.map(|line| line.split_once("error=").unwrap().1.to_owned());
        errors.collect::<Vec<String>>()
    };
    let is_each_once = |said: &[String]| {
        let different: BTreeSet<&String> = said.iter().collect();
        !said.is_empty() && different.len() == said.len()
    };
    let failing = plant_until(&daemon, |plant| {
        plant["failing"]["tries"].as_u64() >= Some(3) && !said().is_empty()
    });
    assert_eq!(
        (&failing["kind"], &failing["after"]),
        (&json!("mqtt"), &json!(0))
    );
    assert!(failing["behind"].as_u64() > Some(0), "{failing}");
    let remedy = failing["failing"]["remedy"].as_str().unwrap();
    assert!(
        remedy.contains("publish under `topic`"),
        "{failing}\n{}",
        shop.messages()
    );
    let messages = shop.messages();
    assert!(is_each_once(&said()), "{messages}");
    assert!(
        messages.contains("sink=\"plant\" kind=\"mqtt\""),
        "{messages}"
    );
    let shown = shop.run(&["status"]);
    let shown = String::from_utf8(shown.stdout).unwrap();
    assert!(
        shown.contains("plant (mqtt): has failed since 20"),
        "{shown}"
    );

    acl("readwrite");
    let pid = broker.child.id().to_string();
    run("kill", &["-HUP", &pid]);
    let well = plant_until(&daemon, |plant| plant["failing"].is_null());
    assert_eq!(well["behind"], 0);
    assert!(well["failures"].as_u64() >= Some(3), "{well}");
    assert!(daemon.stop().0.success());
    let messages = shop.messages();
    assert!(is_each_once(&said()), "{messages}");
    assert_eq!(
        messages.matches("takes entries again").count(),
        1,
        "{messages}"
    );
}

//! Ports, tested with real pseudo-terminals and real rival programs.

use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;
use tallyjaw::config::{LineSettings, PortConfig, PortSelector};
use tallyjaw::decode::{Decoded, Decoder, FrameFormat};
use tallyjaw::quantity::{Decimal, MonoMicros, Unit};
use tallyjaw::serial::{self, Event};
use tallyjaw::virtual_caliper::{Form, Sends, VirtualCaliper};
use tokio::runtime::Builder;
use tokio::sync::mpsc::{Receiver, channel};
use tokio::time::timeout;

/// A limit for failing; no test waits for this long on purpose.
pub(super) const DEADLINE: Duration = Duration::from_secs(20);

const MM: Unit = Unit::Millimetre;

pub(super) fn config(path: &Path) -> PortConfig {
    PortConfig {
        instrument: "caliper-1".into(),
        station: "bench-1".into(),
        selector: PortSelector::Path(path.to_owned()),
        line: LineSettings::default(),
        dtr: Some(true),
        rts: Some(false),
        contact: None,
    }
}

/// Runs `scenario` with the events of the port at `path`.
fn with_port<F: Future>(path: &Path, scenario: impl FnOnce(Receiver<Event>) -> F) -> F::Output {
    with_port_on_threads("port-test", path, scenario)
}

fn with_port_on_threads<F: Future>(
    threads: &str,
    path: &Path,
    scenario: impl FnOnce(Receiver<Event>) -> F,
) -> F::Output {
    let runtime = Builder::new_current_thread()
        .enable_all()
        .thread_name(threads)
        .build()
        .unwrap();
    let config = config(path);
    runtime.block_on(async {
        let (sender, receiver) = channel(4);
        // There are no requests: the sender is dropped at once.
        let (_, requests) = channel(1);
        let port = tokio::spawn(serial::run(config, sender, requests));
        let output = scenario(receiver).await;
        // The receiver is gone, so the task ends by itself.
        timeout(DEADLINE, port).await.unwrap().unwrap();
        output
    })
}

pub(super) async fn next(events: &mut Receiver<Event>) -> Event {
    loop {
        let event = timeout(DEADLINE, events.recv()).await;
        match event.expect("no event came").expect("the task has ended") {
            Event::Quiet { .. } => {}
            other => return other,
        }
    }
}

pub(super) async fn opened(events: &mut Receiver<Event>) {
    loop {
        match next(events).await {
            Event::Opened(_) => return,
            Event::Trouble { .. } => {}
            other => panic!("want Opened, got {other:?}"),
        }
    }
}

pub(super) async fn bytes(events: &mut Receiver<Event>, count: usize) -> Vec<u8> {
    let mut all = Vec::new();
    while all.len() < count {
        match next(events).await {
            Event::Bytes(bytes) => all.extend(bytes),
            other => panic!("want Bytes, got {other:?}, after {all:?}"),
        }
    }
    all
}

pub(super) async fn trouble(events: &mut Receiver<Event>) -> (String, String) {
    match next(events).await {
        Event::Trouble { message, remedy } => (message, remedy.expect("no remedy")),
        other => panic!("want Trouble, got {other:?}"),
    }
}

#[test]
fn what_a_caliper_sends_arrives() {
    let mut caliper = VirtualCaliper::open().unwrap();
    let path = caliper.path().to_owned();
    with_port(&path, |mut events| async move {
        let Event::Opened(attached) = next(&mut events).await else {
            panic!("the port was not opened");
        };
        assert_eq!(attached.instrument, "caliper-1");
        assert_eq!(attached.port, caliper.path().display().to_string());
        assert_eq!(attached.line, "9600 8N1");
        assert_eq!(attached.identity, None);
        caliper.zero().unwrap();
        caliper.press(Decimal::new(163, 2), MM).unwrap();
        assert_eq!(bytes(&mut events, 12).await, b"+0.00\r+1.63\r");
    });
}

#[test]
fn every_byte_value_arrives_as_it_was_sent() {
    let caliper = VirtualCaliper::open().unwrap();
    let all: Vec<u8> = (0..=255).chain((0..=255).rev()).collect();
    let path = caliper.path().to_owned();
    with_port(&path, |mut events| async move {
        opened(&mut events).await;
        caliper.send(&all).unwrap();
        assert_eq!(bytes(&mut events, all.len()).await, all);
    });
}

/// A pseudo-terminal carries no parity and no break, so no byte on it is bad. But it doubles every `ff` as a real
/// terminal does, and this frame begins like a mark.
#[test]
fn an_ff_and_a_zero_in_a_frame_are_no_line_fault() {
    let mut caliper = VirtualCaliper::open()
        .unwrap()
        .sending(Sends::Bcd13(Form::Packed));
    let path = caliper.path().to_owned();
    with_port(&path, |mut events| async move {
        opened(&mut events).await;
        caliper.press(Decimal::new(163, 2), MM).unwrap();
        let frame = bytes(&mut events, 7).await;
        assert_eq!(frame, b"\xff\xff\x00\x00\x16\x32\x00");
        let format = FrameFormat::from_name("bcd13-packed").unwrap();
        let mut decoder = Decoder::new(format, Unit::Inch);
        decoder.push(MonoMicros(0), &frame);
        decoder.end();
        let found = decoder.poll().unwrap();
        assert!(
            matches!(&found, Decoded::Value { value, .. } if value.to_string() == "1.63 mm"),
            "{found:?}"
        );
    });
}

#[test]
fn what_was_sent_before_the_opening_is_told_apart() {
    let mut caliper = VirtualCaliper::open().unwrap();
    caliper.press(Decimal::new(999, 2), MM).unwrap();
    let path = caliper.path().to_owned();
    with_port(&path, |mut events| async move {
        opened(&mut events).await;
        assert_eq!(next(&mut events).await, Event::Stale(b"+9.99\r".to_vec()));
        caliper.press(Decimal::new(163, 2), MM).unwrap();
        assert_eq!(bytes(&mut events, 6).await, b"+1.63\r");
    });
}

#[test]
fn unplugging_in_mid_frame_is_told_at_once_costs_nothing_and_plugging_in_goes_on() {
    let mut caliper = VirtualCaliper::open().unwrap();
    let path = caliper.path().to_owned();
    with_port(&path, |mut events| async move {
        opened(&mut events).await;
        for _ in 0..3 {
            caliper.half_frame(Decimal::new(163, 2), MM).unwrap();
            assert_eq!(bytes(&mut events, 3).await, b"+1.");
            caliper.unplug();
            let closed = next(&mut events).await;
            assert!(matches!(closed, Event::Closed { .. }), "{closed:?}");
            caliper.plug().unwrap();
            opened(&mut events).await;
            caliper.press(Decimal::new(164, 2), MM).unwrap();
            assert_eq!(bytes(&mut events, 6).await, b"+1.64\r");
        }
    });
}

#[test]
fn waiting_for_an_unplugged_port_leaves_the_processor_idle() {
    let mut caliper = VirtualCaliper::open().unwrap();
    let path = caliper.path().to_owned();
    with_port_on_threads(IDLE, &path, |mut events| async move {
        opened(&mut events).await;
        caliper.unplug();
        let closed = next(&mut events).await;
        assert!(matches!(closed, Event::Closed { .. }), "{closed:?}");
        let (message, _) = trouble(&mut events).await;
        assert!(message.starts_with("no such port"), "{message}");
        let before = processor_time();
        let waited = Duration::from_millis(1500);
        let surplus = timeout(waited, events.recv()).await;
        assert!(surplus.is_err(), "the same trouble twice: {surplus:?}");
        let used = processor_time().saturating_sub(before);
        // A loop that takes a read of 0 bytes for "nothing yet" would use all of it.
        assert!(used < waited / 10, "{used:?} in {waited:?}");
    });
}

/// Name of the threads whose processor time is measured; no other test uses it.
const IDLE: &str = "idle-port-test";

/// Processor time of this thread and of those that its runtime started.
fn processor_time() -> Duration {
    let time = |schedstat: PathBuf| -> u64 {
        let text = fs::read_to_string(schedstat).unwrap_or_default();
        let first = text.split_whitespace().next();
        first.and_then(|nanos| nanos.parse().ok()).unwrap_or(0)
    };
    let mine = time("/proc/thread-self/schedstat".into());
    assert!(mine > 0, "the kernel does not tell the processor time");
    let tasks = fs::read_dir("/proc/self/task").unwrap().flatten();
    let helpers = tasks.filter(|task| {
        fs::read_to_string(task.path().join("comm")).is_ok_and(|name| name.trim() == IDLE)
    });
    let theirs: u64 = helpers
        .map(|task| time(task.path().join("schedstat")))
        .sum();
    Duration::from_nanos(mine + theirs)
}

#[test]
fn a_reader_who_falls_behind_stops_the_reading_and_loses_nothing() {
    let caliper = VirtualCaliper::open().unwrap();
    let path = caliper.path().to_owned();
    let line = b"+1.63\r\n".repeat(1024);
    let refused = with_port(&path, |mut events| async move {
        opened(&mut events).await;
        let (done, mut finished) = tokio::sync::oneshot::channel();
        let sent = line.clone();
        let sender = std::thread::spawn(move || {
            // Far more than the terminal and the channel hold.
            let refused = (0..200).find_map(|_| caliper.send(&sent).err());
            let _ = done.send(());
            (caliper, refused)
        });
        (&mut finished).await.unwrap();
        let (caliper, refused) = sender.join().unwrap();
        let mut got = Vec::new();
        loop {
            match timeout(Duration::from_millis(300), events.recv()).await {
                Ok(Some(Event::Bytes(bytes))) => got.extend(bytes),
                Ok(Some(Event::Quiet { .. })) => {}
                _ => break,
            }
        }
        assert!(got.len() > 4096, "{} bytes", got.len());
        let want: Vec<u8> = line.iter().copied().cycle().take(got.len()).collect();
        assert!(got == want, "bytes lost or invented");
        drop(caliper);
        refused
    });
    let refused = refused.expect("1.4 MB went into a port that nobody read");
    assert_eq!(refused.kind(), std::io::ErrorKind::WouldBlock);
}

#[test]
fn a_port_that_does_not_exist_is_said_once_and_waited_for() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("ttyUSB7");
    with_port(&path, |mut events| async {
        let (message, remedy) = trouble(&mut events).await;
        assert_eq!(message, format!("no such port: {}", path.display()));
        assert!(remedy.contains("tallyjaw ports"), "{remedy}");
        let caliper = VirtualCaliper::open_at(&path).unwrap();
        opened(&mut events).await;
        caliper.send(b"+1.63\r").unwrap();
        assert_eq!(bytes(&mut events, 6).await, b"+1.63\r");
        drop(events);
    });
}

#[test]
fn a_regular_file_is_no_port() {
    let file = tempfile::NamedTempFile::new().unwrap();
    let path = file.path().to_owned();
    with_port(&path, |mut events| async {
        let (message, remedy) = trouble(&mut events).await;
        let want = format!(
            "{} is no serial port: got a regular file, want a terminal",
            path.display()
        );
        assert_eq!(message, want);
        assert!(remedy.contains("/dev/ttyUSB0"), "{remedy}");
        drop(events);
    });
}

/// A process that has the port open and does nothing else.
struct Rival(Child);

impl Rival {
    fn at(path: &Path) -> Self {
        let port = fs::OpenOptions::new().read(true).open(path).unwrap();
        let child = Command::new("sleep")
            .arg("600")
            .stdin(Stdio::from(port))
            .spawn()
            .unwrap();
        Self(child)
    }
}

impl Drop for Rival {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

#[test]
fn a_port_held_by_another_process_names_it_and_is_opened_when_it_ends() {
    let caliper = VirtualCaliper::open().unwrap();
    let rival = Rival::at(caliper.path());
    let path = caliper.path().to_owned();
    with_port(&path, |mut events| async move {
        let (message, remedy) = trouble(&mut events).await;
        let pid = rival.0.id();
        let want = format!("{} is held by sleep (pid {pid})", caliper.path().display());
        assert_eq!(message, want);
        assert!(remedy.ends_with(&format!("kill {pid}")), "{remedy}");
        drop(rival);
        opened(&mut events).await;
    });
}

async fn disturbed(events: &mut Receiver<Event>) -> (Vec<String>, Option<String>) {
    let next = async {
        loop {
            if let Some(Event::Disturbed { holders, settings }) = events.recv().await {
                return (holders, settings);
            }
        }
    };
    timeout(DEADLINE, next).await.unwrap()
}

/// Only root can open a port that is in exclusive use.
#[test]
fn another_program_that_reads_our_port_is_named_and_so_is_its_end() {
    let caliper = VirtualCaliper::open().unwrap();
    let path = caliper.path().to_owned();
    with_port(&path, |mut events| async move {
        opened(&mut events).await;
        let port = fs::OpenOptions::new().read(true).open(caliper.path());
        if !rustix::process::geteuid().is_root() {
            let refused = port.unwrap_err();
            assert_eq!(refused.kind(), std::io::ErrorKind::ResourceBusy);
            return;
        }
        drop(port);
        let rival = Rival::at(caliper.path());
        let named = format!("sleep (pid {})", rival.0.id());
        assert_eq!(disturbed(&mut events).await, (vec![named], None));
        drop(rival);
        assert_eq!(disturbed(&mut events).await, (vec![], None));
    });
}

#[test]
fn settings_that_somebody_changed_are_set_back_and_told() {
    let caliper = VirtualCaliper::open().unwrap();
    let path = caliper.path().to_owned();
    with_port(&path, |mut events| async move {
        opened(&mut events).await;
        if !rustix::process::geteuid().is_root() {
            return;
        }
        let port = || {
            fs::OpenOptions::new()
                .read(true)
                .open(caliper.path())
                .unwrap()
        };
        let mut settings = rustix::termios::tcgetattr(port()).unwrap();
        settings.set_speed(1200).unwrap();
        let now = rustix::termios::OptionalActions::Now;
        rustix::termios::tcsetattr(port(), now, &settings).unwrap();
        let found = (vec![], Some("1200 8N1".to_owned()));
        assert_eq!(disturbed(&mut events).await, found);
        let settings = rustix::termios::tcgetattr(port()).unwrap();
        assert_eq!(settings.input_speed(), 9600);
        caliper.send(b"+1.63\r").unwrap();
        assert_eq!(bytes(&mut events, 6).await, b"+1.63\r");
    });
}

#[test]
fn two_instruments_on_one_port_are_told_so() {
    let caliper = VirtualCaliper::open().unwrap();
    let path = caliper.path().to_owned();
    with_port(&path, |mut events| async move {
        opened(&mut events).await;
        let (sender, mut second) = channel(4);
        let (_, requests) = channel(1);
        let task = tokio::spawn(serial::run(config(caliper.path()), sender, requests));
        let (message, remedy) = trouble(&mut second).await;
        let pid = std::process::id();
        let want = format!("this program itself, for another instrument (pid {pid})");
        assert!(message.ends_with(&want), "{message}");
        assert_eq!(remedy, "give each instrument a port of its own");
        // The first holder keeps the port.
        caliper.send(b"+1.63\r").unwrap();
        assert_eq!(bytes(&mut events, 6).await, b"+1.63\r");
        drop(second);
        task.await.unwrap();
    });
}

#[test]
fn a_port_that_may_not_be_opened_tells_whose_it_is() {
    if !rustix::process::geteuid().is_root() {
        eprintln!("SKIPPED: only root can become another user to be refused");
        return;
    }
    let caliper = VirtualCaliper::open().unwrap();
    let terminal = caliper.terminal().unwrap();
    std::os::unix::fs::chown(terminal, Some(0), Some(GROUP_DIALOUT)).unwrap();
    fs::set_permissions(terminal, fs::Permissions::from_mode(0o660)).unwrap();
    // A folder that the other user can reach.
    let folder = tempfile::tempdir().unwrap();
    fs::set_permissions(folder.path(), fs::Permissions::from_mode(0o755)).unwrap();
    let binary = folder.path().join("tallyjaw");
    fs::copy(env!("CARGO_BIN_EXE_tallyjaw"), &binary).unwrap();
    let run = |who: &[&str]| {
        let mut command = Command::new("setpriv");
        command
            .args(who)
            .arg(&binary)
            .arg("ports")
            .arg(caliper.path());
        command.output().unwrap()
    };
    let nobody = run(&["--reuid=65534", "--regid=65534", "--clear-groups"]);
    let text = String::from_utf8_lossy(&nobody.stdout).into_owned();
    assert_eq!(nobody.status.code(), Some(1), "{text}");
    let facts = "owner root, group dialout, mode 0660; this user is nobody, in the groups nogroup";
    assert!(text.contains(facts), "{text}");
    assert!(text.contains("help: join the group"), "{text}");
    let member = run(&["--reuid=65534", "--regid=65534", "--groups=20"]);
    let text = String::from_utf8_lossy(&member.stdout).into_owned();
    assert_eq!(member.status.code(), Some(0), "{text}");
    assert!(text.contains("can be opened"), "{text}");
}

/// `dialout` of Debian and its kin (base-passwd).
const GROUP_DIALOUT: u32 = 20;

#[test]
fn ports_says_of_one_path_what_stands_against_it() {
    let caliper = VirtualCaliper::open().unwrap();
    let ports = |path: &Path| {
        let output = Command::new(crate::harness::program())
            .args(["ports", "--json"])
            .arg(path)
            .output()
            .unwrap();
        let port: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
        (output.status.code(), port)
    };
    let (code, port) = ports(caliper.path());
    assert_eq!((code, &port["can_open"]), (Some(0), &true.into()), "{port}");
    let rival = Rival::at(caliper.path());
    let (code, port) = ports(caliper.path());
    assert_eq!(
        (code, &port["can_open"]),
        (Some(1), &false.into()),
        "{port}"
    );
    assert_eq!(port["holders"][0]["pid"], rival.0.id());
    assert_eq!(port["holders"][0]["program"], "sleep");
    let (code, port) = ports(Path::new("/dev/null"));
    assert_eq!(code, Some(1));
    assert!(
        port["obstacle"]
            .as_str()
            .unwrap()
            .contains("want a terminal"),
        "{port}"
    );
}

//! Strangers in numbers: half-open handshakes, plain HTTP, and codes that are guessed.

use super::client::{Tablet, code, door, shop};
use crate::page::http::{address, get};
use rustix::net::{AddressFamily, SocketType, bind, connect, socket};
use serde_json::json;
use std::fs;
use std::io::{Read, Write};
use std::net::{Ipv4Addr, SocketAddr, SocketAddrV4, TcpStream};

/// A connection that comes from this address of the loopback.
fn connection(from: Ipv4Addr, to: SocketAddr) -> Option<TcpStream> {
    let fd = socket(AddressFamily::INET, SocketType::STREAM, None).unwrap();
    bind(&fd, &SocketAddrV4::new(from, 0)).unwrap();
    connect(&fd, &to).ok()?;
    Some(TcpStream::from(fd))
}

/// What the kernel says of a process, in KiB.
fn resident(pid: u32) -> u64 {
    let status = fs::read_to_string(format!("/proc/{pid}/status")).unwrap();
    let line = status
        .lines()
        .find(|line| line.starts_with("VmRSS"))
        .unwrap();
    line.split_whitespace().nth(1).unwrap().parse().unwrap()
}

#[test]
fn a_thousand_half_open_handshakes_stop_neither_the_page_nor_a_tablet_nor_the_daemon() {
    let shop = shop();
    let daemon = shop.start();
    drop(daemon.connected_feed());
    let (to, _) = door(&daemon);
    let to: SocketAddr = to.parse().unwrap();
    let tablet = Tablet::paired(&shop, &daemon, "bench-left");
    let mut events = tablet.events();
    events.wait_for(|_| true);
    let mut held = Vec::new();
    for number in 0..1_000_u16 {
        let [high, low] = (number / 8 + 2).to_be_bytes();
        let mut stream = connection(Ipv4Addr::new(127, 0, high, low), to);
        if let Some(stream) = &mut stream
            && number % 2 == 0
        {
            // The beginning of a handshake whose rest never comes.
            let _ = stream.write_all(&[0x16, 3, 1, 2, 0, 1, 0]);
        }
        held.extend(stream);
    }
    assert!(held.len() > 900, "{}", held.len());
    assert_eq!(get(&address(&daemon), "/healthz").body, "ok\n");
    daemon.call("note", &json!({"text": "still here"}));
    events.wait_for(|state| {
        let recent = state["benches"][0]["recent"].to_string();
        recent.contains("still here")
    });
    let pid = daemon.child.id();
    let open = fs::read_dir(format!("/proc/{pid}/fd")).unwrap().count();
    assert!(open < 140, "{open} descriptors");
    let kib = resident(pid);
    println!("with 1,000 half-open handshakes: {kib} KiB resident, {open} descriptors");
    assert!(kib < 64 * 1024, "{kib} KiB");
    drop(held);
    // The places are free again: another tablet is let in.
    let deadline = std::time::Instant::now() + crate::harness::PATIENCE;
    let code = code(&shop, "bench-right")["code"]
        .as_str()
        .unwrap()
        .to_owned();
    let mut other = Tablet::stranger(&daemon);
    loop {
        let body = json!({ "code": code }).to_string();
        let len = body.len();
        let text = format!(
            "POST /pair HTTP/1.1\r\nHost: @\r\nContent-Type: application/json\r\nContent-Length: {len}\r\n\r\n{body}"
        );
        match other.raw(&text) {
            Ok(answer) => break assert_eq!(answer.status, 200),
            Err(error) => assert!(std::time::Instant::now() < deadline, "{error}"),
        }
    }
    other.cookie = None;
    assert_eq!(other.get("/state").status, 401);
}

#[test]
fn who_does_not_encrypt_is_told_so_and_gets_nothing_else() {
    let shop = shop();
    let daemon = shop.start();
    let (to, _) = door(&daemon);
    let mut answer = String::new();
    let mut stream = TcpStream::connect(&to).unwrap();
    stream
        .write_all(format!("GET /state HTTP/1.1\r\nHost: {to}\r\n\r\n").as_bytes())
        .unwrap();
    stream.read_to_string(&mut answer).unwrap();
    let (head, body) = answer.split_once("\r\n\r\n").unwrap();
    assert!(head.starts_with("HTTP/1.1 400 "), "{head}");
    assert_eq!(
        body,
        "this port speaks HTTPS only\nhelp: write https:// before the address\n"
    );
    let mut stream = TcpStream::connect(&to).unwrap();
    stream.write_all(b"\x00\x01garbage").unwrap();
    let mut nothing = Vec::new();
    let _ = stream.read_to_end(&mut nothing);
    assert!(nothing.is_empty(), "{nothing:?}");
}

#[test]
fn who_guesses_codes_is_stopped_after_ten_and_the_bench_is_not() {
    let shop = shop();
    let daemon = shop.start();
    let right = code(&shop, "bench-left")["code"]
        .as_str()
        .unwrap()
        .to_owned();
    let mut guesser = Tablet::stranger(&daemon);
    let mut seen = Vec::new();
    for guess in 0..12 {
        seen.push(guesser.pair(&format!("{guess:016}")).status);
    }
    assert_eq!(seen, [[403; 10].as_slice(), &[429; 2]].concat());
    assert_eq!(guesser.pair(&right).status, 429, "whatever it shows now");
    assert!(guesser.cookie.is_none());
    assert_eq!(get(&address(&daemon), "/state").status, 200);
    let paired = daemon.call("tablets", &json!({}));
    assert_eq!(paired, json!({"tablets": []}));
}

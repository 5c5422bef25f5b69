//! Requests to an instrument, and contacts on the lines of a port, through real pseudo-terminals.

use super::ports::{DEADLINE, bytes, config, opened, trouble};
use std::time::Duration;
use tallyjaw::config::{ModemLine, PortConfig};
use tallyjaw::serial::{self, Event};
use tallyjaw::virtual_caliper::VirtualCaliper;
use tokio::sync::mpsc::{Receiver, Sender, channel};
use tokio::time::timeout;

/// Runs `scenario` with the events of a port and a sender of requests.
fn with_requests<F: Future>(
    config: PortConfig,
    scenario: impl FnOnce(Receiver<Event>, Sender<Vec<u8>>) -> F,
) -> F::Output {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .unwrap();
    runtime.block_on(async {
        let (sender, events) = channel(4);
        let (requests, asked) = channel(4);
        let port = tokio::spawn(serial::run(config, sender, asked));
        let output = scenario(events, requests).await;
        timeout(DEADLINE, port).await.unwrap().unwrap();
        output
    })
}

#[test]
fn a_request_reaches_the_instrument_and_its_answer_comes_back() {
    let mut caliper = VirtualCaliper::open().unwrap();
    with_requests(config(caliper.path()), |mut events, requests| async move {
        opened(&mut events).await;
        requests.send(b"M\r".to_vec()).await.unwrap();
        let (caliper, request) = tokio::task::spawn_blocking(move || {
            let request = caliper.received(DEADLINE).unwrap();
            caliper.zero().unwrap();
            (caliper, request)
        })
        .await
        .unwrap();
        assert_eq!(request, b"M\r");
        assert_eq!(bytes(&mut events, 6).await, b"+0.00\r");
        drop((events, caliper));
    });
}

#[test]
fn a_request_from_while_the_port_was_closed_is_not_sent_later() {
    let mut caliper = VirtualCaliper::open().unwrap();
    let config = config(caliper.path());
    caliper.unplug();
    with_requests(config, |mut events, requests| async move {
        trouble(&mut events).await;
        requests.send(b"old".to_vec()).await.unwrap();
        caliper.plug().unwrap();
        opened(&mut events).await;
        // The port is read after waiting bytes were dropped, so these are new.
        caliper.zero().unwrap();
        assert_eq!(bytes(&mut events, 6).await, b"+0.00\r");
        requests.send(b"new".to_vec()).await.unwrap();
        let received = tokio::task::spawn_blocking(move || caliper.received(DEADLINE));
        assert_eq!(received.await.unwrap().unwrap(), b"new");
        drop(events);
    });
}

#[test]
fn a_port_that_takes_no_more_is_told_and_read_on() {
    let mut caliper = VirtualCaliper::open().unwrap();
    with_requests(config(caliper.path()), |mut events, requests| async move {
        opened(&mut events).await;
        // Nobody reads at the instrument's end, and no terminal holds this much.
        requests.send(vec![b'?'; 1 << 20]).await.unwrap();
        let (message, remedy) = trouble(&mut events).await;
        assert!(
            message.contains("of the 1048576 bytes of a request"),
            "{message}"
        );
        assert!(remedy.contains("check cable and adapter"), "{remedy}");
        caliper.zero().unwrap();
        assert_eq!(bytes(&mut events, 6).await, b"+0.00\r");
        drop(events);
    });
}

#[test]
fn a_pseudo_terminal_has_no_line_for_a_contact_and_says_so() {
    let caliper = VirtualCaliper::open().unwrap();
    for line in ModemLine::ALL {
        let config = PortConfig {
            contact: Some(line),
            ..config(caliper.path())
        };
        with_requests(config, |mut events, _requests| async move {
            let (message, remedy) = trouble(&mut events).await;
            let want = format!(
                "no modem lines, so no contact on {}: it is a pseudo-terminal",
                line.name()
            );
            assert!(message.ends_with(&want), "{message}");
            assert!(remedy.contains("a pedal that sends bytes"), "{remedy}");
            drop(events);
        });
    }
}

#[test]
fn a_virtual_caliper_that_is_not_asked_says_so() {
    let mut caliper = VirtualCaliper::open().unwrap();
    assert_eq!(caliper.received(Duration::ZERO).unwrap(), b"");
    caliper.unplug();
    let error = caliper.received(Duration::ZERO).unwrap_err();
    assert_eq!(error.kind(), std::io::ErrorKind::NotConnected);
}

//! HTTPS to an authority: who is trusted, and what is said of who is not.

use super::authority::{Authority, Sent, Server, ok};
use super::sink::{asks, until};
use super::{measured, said, stamps};
use crate::harness::shim;
use std::path::PathBuf;
use std::process::Stdio;
use std::sync::Arc;

#[test]
fn an_authority_behind_https_is_asked_by_command_and_sink_where_its_server_is_trusted() {
    let (shop, daemon) = measured();
    let authority = Arc::new(Authority::new());
    let server = Server::behind(authority.door("DNS:localhost"), &authority);
    let ca = authority.ca();
    let options = ["--ca-file", &ca, "--authority", &ca];
    let kept = said(
        &shop,
        &[&["timestamp", &server.url], &options[..]].concat(),
        0,
    );
    assert!(kept.contains("the given authority signed it"), "{kept}");
    // The system's certificates are asked for by a variable that every program on openssl knows.
    let output = shop
        .tallyjaw(&["timestamp", &server.url])
        .env("SSL_CERT_FILE", &ca)
        .output()
        .unwrap();
    assert!(output.status.success(), "{output:?}");
    daemon.stop();

    let keys = format!("ca_file = \"{ca}\"\nauthority = \"{ca}\"");
    asks(&shop, "clock", &server.url, &keys);
    let daemon = shop.start();
    until(&daemon, "clock", |sink| sink["after"] != 0);
    let doctor = String::from_utf8(shop.run(&["doctor"]).stdout).unwrap();
    let want = format!("clock: localhost:{} can be reached", server.port);
    assert!(doctor.contains(&want), "{doctor}");
    assert!(daemon.stop().0.success());
    said(&shop, &["verify", "--authority", &ca], 0);
}

#[test]
fn a_server_that_is_not_the_one_that_is_meant_is_told_nothing_and_named_with_what_to_do() {
    let (shop, _daemon) = measured();
    let authority = Arc::new(Authority::new());
    let stranger = Arc::new(Authority::new());
    let ca = authority.ca();
    let behind = |door| Server::behind(door, &authority);
    let plain = Server::of(&authority);
    let right = behind(authority.door("DNS:localhost"));
    let in_the_future = shop.path("clock");
    shop.write("clock", &(20_i64 * 365 * 86_400).to_string());
    let on_tls = |server: &Server| format!("https://localhost:{}/tsa", server.port);
    let cases = [
        (
            behind(authority.door("DNS:tsa.example")),
            &ca[..],
            false,
            "its certificate is for another name",
            "somebody else answers",
        ),
        (
            behind(stranger.door("DNS:localhost")),
            &ca,
            false,
            "its certificate is of no authority that is trusted",
            "--ca-file",
        ),
        (
            behind(authority.door_of("ca.pem", "ca.key")),
            &ca,
            false,
            "its certificate is ",
            "",
        ),
        (
            right,
            &ca,
            true,
            "is not valid today",
            "clock of this machine",
        ),
        (plain, &ca, false, "it does not speak TLS", "write http://"),
        (
            behind(authority.door("DNS:localhost")),
            "sheet.toml",
            false,
            "got no certificate",
            "in PEM",
        ),
        (
            behind(authority.door("DNS:localhost")),
            "nowhere.pem",
            false,
            "nowhere.pem: No such file",
            "in PEM",
        ),
    ];
    for (server, ca_file, later, error, remedy) in cases {
        let url = on_tls(&server);
        let mut command = shop.tallyjaw(&["timestamp", &url, "--ca-file", ca_file]);
        command.current_dir(shop.dir.path()).stdin(Stdio::null());
        if later {
            command
                .env("LD_PRELOAD", shim("clock_set"))
                .env("CLOCK_SET", &in_the_future);
        }
        let output = command.output().unwrap();
        let found = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(4), "{error}: {found}");
        assert!(found.contains(error), "{error}: {found}");
        assert!(
            found.contains("help: ") && found.contains(remedy),
            "{found}"
        );
        assert_eq!(server.requests.try_iter().count(), 0, "{error}");
    }
    // HTTP to a port that wants TLS is an answer that is none, or no answer.
    let server = behind(authority.door("DNS:localhost"));
    let url = format!("http://localhost:{}/tsa", server.port);
    let found = said(&shop, &["timestamp", &url], 4);
    assert!(found.contains("did not answer"), "{found}");
    assert_eq!(stamps(&shop), Vec::<PathBuf>::new());
}

#[test]
fn an_answer_cut_off_behind_https_is_not_kept() {
    let (shop, _daemon) = measured();
    let authority = Arc::new(Authority::new());
    let answers = Arc::clone(&authority);
    let server = Server::start(Some(authority.door("DNS:localhost")), move |body| {
        let whole = ok(&answers.answer(body));
        Sent::Bytes(whole[..whole.len() / 2].to_vec())
    });
    let ca = authority.ca();
    let found = said(&shop, &["timestamp", &server.url, "--ca-file", &ca], 4);
    assert!(found.contains("did not answer"), "{found}");
    assert_eq!(stamps(&shop), Vec::<PathBuf>::new());
}

//! A tablet: a client over TLS that knows the bench by the fingerprint of its certificate, and by nothing else.

use crate::harness::{Daemon, PATIENCE, Shop};
use crate::page::http::{Answer, shop_with};
use rustls::client::danger::{HandshakeSignatureValid, ServerCertVerified, ServerCertVerifier};
use rustls::crypto::{ring, verify_tls12_signature, verify_tls13_signature};
use rustls::pki_types::{CertificateDer, ServerName, UnixTime};
use rustls::{
    ClientConfig, ClientConnection, DigitallySignedStruct, Error, SignatureScheme, StreamOwned,
};
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::io::{self, BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::sync::Arc;

/// A shop whose daemon lets tablets in.
pub(super) fn shop() -> Shop {
    shop_with("tablet = true\ntablet_listen = \"127.0.0.1:0\"")
}

/// Where tablets connect, and the fingerprint of the certificate.
pub(super) fn door(daemon: &Daemon) -> (String, String) {
    let tablet = &daemon.call("status", &json!({}))["tablet"];
    let text = |name: &str| tablet[name].as_str().unwrap().to_owned();
    (text("listen"), text("sha256"))
}

/// What `tallyjaw page --pair` says for programs.
pub(super) fn code(shop: &Shop, name: &str) -> Value {
    let said = shop.run(&["--json", "page", "--pair", name]);
    assert!(said.status.success(), "{said:?}");
    serde_json::from_slice(&said.stdout).unwrap()
}

/// Trusts the one certificate of this fingerprint.
#[derive(Debug)]
struct Pinned(String);

impl ServerCertVerifier for Pinned {
    fn verify_server_cert(
        &self,
        certificate: &CertificateDer<'_>,
        _: &[CertificateDer<'_>],
        _: &ServerName<'_>,
        _: &[u8],
        _: UnixTime,
    ) -> Result<ServerCertVerified, Error> {
        let digest = Sha256::digest(certificate);
        let hex: Vec<_> = digest.iter().map(|byte| format!("{byte:02X}")).collect();
        if hex.join(":") == self.0 {
            return Ok(ServerCertVerified::assertion());
        }
        Err(Error::General("another certificate".to_owned()))
    }

    fn verify_tls12_signature(
        &self,
        message: &[u8],
        certificate: &CertificateDer<'_>,
        signed: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        let known = ring::default_provider().signature_verification_algorithms;
        verify_tls12_signature(message, certificate, signed, &known)
    }

    fn verify_tls13_signature(
        &self,
        message: &[u8],
        certificate: &CertificateDer<'_>,
        signed: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        let known = ring::default_provider().signature_verification_algorithms;
        verify_tls13_signature(message, certificate, signed, &known)
    }

    fn supported_verify_schemes(&self) -> Vec<SignatureScheme> {
        let known = ring::default_provider().signature_verification_algorithms;
        known.supported_schemes()
    }
}

type Tls = StreamOwned<ClientConnection, TcpStream>;

/// A device, paired or not.
#[derive(Debug, Clone)]
pub(super) struct Tablet {
    pub(super) address: String,
    pub(super) sha256: String,
    pub(super) cookie: Option<String>,
}

impl Tablet {
    /// One that was never paired.
    pub(super) fn stranger(daemon: &Daemon) -> Self {
        let (address, sha256) = door(daemon);
        Self {
            address,
            sha256,
            cookie: None,
        }
    }

    /// One that is paired under this name.
    pub(super) fn paired(shop: &Shop, daemon: &Daemon, name: &str) -> Self {
        let mut tablet = Self::stranger(daemon);
        let code = code(shop, name);
        assert_eq!(code["sha256"], tablet.sha256);
        let answer = tablet.pair(code["code"].as_str().unwrap());
        assert_eq!(answer.status, 200, "{answer:?}");
        tablet
    }

    /// Shows a code, and keeps the token that it gets for it.
    pub(super) fn pair(&mut self, code: &str) -> Answer {
        let body = json!({ "code": code }).to_string();
        let answer = self.post("/pair", "", &body);
        if let Some(cookie) = answer.headers.get("set-cookie") {
            self.cookie = Some(cookie.split(';').next().unwrap().to_owned());
        }
        answer
    }

    fn tls(&self) -> Tls {
        let provider = ring::default_provider().into();
        let config = ClientConfig::builder_with_provider(provider)
            .with_safe_default_protocol_versions()
            .unwrap()
            .dangerous()
            .with_custom_certificate_verifier(Arc::new(Pinned(self.sha256.clone())))
            .with_no_client_auth();
        let name = ServerName::try_from("127.0.0.1").unwrap();
        let connection = ClientConnection::new(Arc::new(config), name).unwrap();
        let stream = TcpStream::connect(&self.address).unwrap();
        stream.set_read_timeout(Some(PATIENCE)).unwrap();
        StreamOwned::new(connection, stream)
    }

    /// The text of a request as it stands; `@` is the address.
    pub(super) fn send(&self, text: &str) -> io::Result<BufReader<Tls>> {
        let mut stream = self.tls();
        stream.write_all(text.replace('@', &self.address).as_bytes())?;
        stream.flush()?;
        Ok(BufReader::new(stream))
    }

    /// The answer to a request as it stands.
    pub(super) fn raw(&self, text: &str) -> io::Result<Answer> {
        let mut stream = self.send(text)?;
        let (status, headers) = head(&mut stream)?;
        let len = headers
            .get("content-length")
            .map_or(0, |len| len.parse().unwrap());
        let mut body = vec![0; len];
        stream.read_exact(&mut body)?;
        Ok(Answer {
            status,
            headers,
            body: String::from_utf8(body).unwrap(),
        })
    }

    fn cookie_line(&self) -> String {
        let cookie = self.cookie.as_ref();
        cookie.map_or(String::new(), |cookie| format!("Cookie: {cookie}\r\n"))
    }

    pub(super) fn get(&self, path: &str) -> Answer {
        let cookie = self.cookie_line();
        let text = format!("GET {path} HTTP/1.1\r\nHost: @\r\n{cookie}\r\n");
        self.raw(&text).unwrap()
    }

    pub(super) fn post(&self, path: &str, headers: &str, body: &str) -> Answer {
        let (cookie, len) = (self.cookie_line(), body.len());
        let text = format!(
            "POST {path} HTTP/1.1\r\nHost: @\r\nContent-Type: application/json\r\nContent-Length: {len}\r\n{cookie}{headers}\r\n{body}"
        );
        self.raw(&text).unwrap()
    }

    /// A picture, as the page gives it.
    pub(super) fn picture(&self, name: &str, bytes: &[u8]) -> (u16, Value) {
        let (address, cookie, len) = (&self.address, self.cookie_line(), bytes.len());
        let text = format!(
            "POST /picture?name={name} HTTP/1.1\r\nHost: {address}\r\nOrigin: https://{address}\r\nContent-Type: image/jpeg\r\nContent-Length: {len}\r\n{cookie}\r\n"
        );
        let mut stream = self.tls();
        stream
            .write_all(&[text.as_bytes(), bytes].concat())
            .unwrap();
        stream.flush().unwrap();
        let mut stream = BufReader::new(stream);
        let (status, headers) = head(&mut stream).unwrap();
        let mut body = vec![0; headers["content-length"].parse().unwrap()];
        stream.read_exact(&mut body).unwrap();
        (status, serde_json::from_slice(&body).unwrap_or_default())
    }

    /// A command, as the page gives it.
    pub(super) fn command(&self, method: &str, params: &Value) -> Value {
        let request = json!({"jsonrpc": "2.0", "id": 1, "method": method, "params": params});
        let answer = self.post("/control", "Origin: https://@\r\n", &request.to_string());
        assert_eq!(answer.status, 200, "{answer:?}");
        answer.json()
    }

    pub(super) fn events(&self) -> Stream {
        let cookie = self.cookie_line();
        let text = format!("GET /events?state=each HTTP/1.1\r\nHost: @\r\n{cookie}\r\n");
        let mut stream = self.send(&text).unwrap();
        let (status, _) = head(&mut stream).unwrap();
        assert_eq!(status, 200);
        Stream(stream)
    }
}

fn head(stream: &mut impl BufRead) -> io::Result<(u16, BTreeMap<String, String>)> {
    let mut line = String::new();
    stream.read_line(&mut line)?;
    let status = line
        .split(' ')
        .nth(1)
        .and_then(|status| status.parse().ok());
    let status = status.ok_or(io::ErrorKind::UnexpectedEof)?;
    let mut headers = BTreeMap::new();
    loop {
        let mut line = String::new();
        stream.read_line(&mut line)?;
        let line = line.trim_end();
        let Some((name, value)) = line.split_once(": ") else {
            return Ok((status, headers));
        };
        headers.insert(name.to_owned(), value.to_owned());
    }
}

/// An event stream over TLS.
pub(super) struct Stream(BufReader<Tls>);

impl Stream {
    /// The next line of it; `None` at its end.
    fn line(&mut self) -> Option<String> {
        let mut line = String::new();
        match self.0.read_line(&mut line) {
            Ok(1..) => Some(line),
            Ok(0) => None,
            Err(error) => {
                assert_ne!(
                    error.kind(),
                    io::ErrorKind::WouldBlock,
                    "the stream is open"
                );
                None
            }
        }
    }

    /// Passes over what comes before a state that is as wanted.
    pub(super) fn wait_for(&mut self, wanted: impl Fn(&Value) -> bool) -> Value {
        let mut is_state = false;
        loop {
            let line = self.line().expect("the stream has ended");
            if let Some(name) = line.strip_prefix("event: ") {
                is_state = name.trim_end() == "state";
            } else if let Some(data) = line.strip_prefix("data: ")
                && is_state
            {
                let state = serde_json::from_str(data).unwrap();
                if wanted(&state) {
                    return state;
                }
            }
        }
    }

    /// Whether it ends within patience.
    pub(super) fn ends(&mut self) -> bool {
        while self.line().is_some() {}
        true
    }
}

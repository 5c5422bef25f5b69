//! An authority run by openssl, and a server of HTTP or HTTPS that answers in its place as a test wants.

use rustls::pki_types::pem::PemObject as _;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use rustls::{ServerConfig, ServerConnection, StreamOwned};
use std::fs;
use std::io::{BufRead as _, BufReader, Read, Write};
use std::net::TcpListener;
use std::path::PathBuf;
use std::process::Command;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread;

/// The folder of an authority: its certificate `ca.pem`, and what openssl needs to answer.
pub(crate) struct Authority(pub(crate) tempfile::TempDir);

const CONFIG: &str = "
[req]
distinguished_name = name
prompt = no
[name]
CN = A Clock of the Test
[ca]
basicConstraints = critical, CA:true
[usage]
extendedKeyUsage = critical, timeStamping
[tsa]
default_tsa = clock
[clock]
serial = serial
default_policy = 1.2.3.4.1
digests = sha256
signer_digest = sha256
ess_cert_id_alg = sha256
";

impl Authority {
    pub(crate) fn new() -> Self {
        let authority = Self(tempfile::tempdir().unwrap());
        fs::write(authority.path("tsa.cnf"), CONFIG).unwrap();
        fs::write(authority.path("serial"), "01\n").unwrap();
        let key = "-newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -config tsa.cnf";
        authority.openssl(&format!(
            "req -x509 {key} -days 3650 -extensions ca -keyout ca.key -out ca.pem"
        ));
        authority.openssl(&format!(
            "req -new {key} -subj /CN=clock-1 -keyout tsa.key -out tsa.csr"
        ));
        authority.openssl("x509 -req -in tsa.csr -CA ca.pem -CAkey ca.key -days 3650 -extfile tsa.cnf -extensions usage -out tsa.pem");
        authority
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    pub(crate) fn ca(&self) -> String {
        self.path("ca.pem").to_str().unwrap().to_owned()
    }

    pub(crate) fn openssl(&self, arguments: &str) {
        let output = Command::new("openssl")
            .args(arguments.split(' '))
            .current_dir(self.0.path())
            .output()
            .unwrap();
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(output.status.success(), "openssl {arguments}: {said}");
    }

    /// Its answer to a request.
    pub(crate) fn answer(&self, request: &[u8]) -> Vec<u8> {
        fs::write(self.path("query.tsq"), request).unwrap();
        self.openssl("ts -reply -config tsa.cnf -queryfile query.tsq -signer tsa.pem -inkey tsa.key -out answer.tsr");
        fs::read(self.path("answer.tsr")).unwrap()
    }

    /// The door of a server whose certificate, signed by this authority, is for these names.
    pub(crate) fn door(&self, names: &str) -> Arc<ServerConfig> {
        fs::write(
            self.path("web.cnf"),
            format!("basicConstraints = CA:false\nsubjectAltName = {names}\n"),
        )
        .unwrap();
        let key = "-newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -config tsa.cnf";
        self.openssl(&format!(
            "req -new {key} -subj /CN=web -keyout web.key -out web.csr"
        ));
        self.openssl("x509 -req -in web.csr -CA ca.pem -CAkey ca.key -days 3650 -extfile web.cnf -out web.pem");
        self.door_of("web.pem", "web.key")
    }

    /// Who a client is, signed by this authority, as `client.pem` and `client.key` in a folder.
    pub(crate) fn identify(&self, name: &str, folder: &std::path::Path) {
        fs::write(self.path("client.cnf"), "basicConstraints = CA:false\n").unwrap();
        let key = "-newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -config tsa.cnf";
        self.openssl(&format!(
            "req -new {key} -subj /CN={name} -keyout client.key -out client.csr"
        ));
        self.openssl(
            "x509 -req -in client.csr -CA ca.pem -CAkey ca.key -days 3650 -extfile client.cnf -out client.pem",
        );
        for name in ["client.pem", "client.key"] {
            fs::copy(self.path(name), folder.join(name)).unwrap();
        }
    }

    /// The door of a server for `localhost` that asks who comes in, and lets in whom this authority has signed.
    pub(crate) fn asking_door(&self) -> Arc<ServerConfig> {
        let _ = self.door("DNS:localhost");
        let provider = Arc::new(rustls::crypto::ring::default_provider());
        let mut known = rustls::RootCertStore::empty();
        known
            .add(CertificateDer::from_pem_file(self.path("ca.pem")).unwrap())
            .unwrap();
        let asks = rustls::server::WebPkiClientVerifier::builder_with_provider(
            Arc::new(known),
            Arc::clone(&provider),
        );
        let config = ServerConfig::builder_with_provider(provider)
            .with_safe_default_protocol_versions()
            .unwrap()
            .with_client_cert_verifier(asks.build().unwrap())
            .with_single_cert(
                vec![CertificateDer::from_pem_file(self.path("web.pem")).unwrap()],
                PrivateKeyDer::from_pem_file(self.path("web.key")).unwrap(),
            )
            .unwrap();
        Arc::new(config)
    }

    /// A door with the certificate and key in these files.
    pub(crate) fn door_of(&self, certificate: &str, key: &str) -> Arc<ServerConfig> {
        let provider = Arc::new(rustls::crypto::ring::default_provider());
        let certificate = CertificateDer::from_pem_file(self.path(certificate)).unwrap();
        let key = PrivateKeyDer::from_pem_file(self.path(key)).unwrap();
        let config = ServerConfig::builder_with_provider(provider)
            .with_safe_default_protocol_versions()
            .unwrap()
            .with_no_client_auth()
            .with_single_cert(vec![certificate], key)
            .unwrap();
        Arc::new(config)
    }
}

/// What a server does with a request.
pub(crate) enum Sent {
    /// It sends these bytes and closes.
    Bytes(Vec<u8>),
    /// It closes.
    Nothing,
    /// It is silent until the other side closes, and then says so on `given_up`.
    Silence,
}

/// A server of HTTP, or of HTTPS behind a door.
pub(crate) struct Server {
    pub(crate) url: String,
    pub(crate) port: u16,
    /// The bodies of the requests.
    pub(crate) requests: Receiver<Vec<u8>>,
    /// A word for each silent connection that the other side has closed.
    pub(crate) given_up: Receiver<()>,
}

impl Server {
    pub(crate) fn start(
        door: Option<Arc<ServerConfig>>,
        mut answer: impl FnMut(&[u8]) -> Sent + Send + 'static,
    ) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let port = listener.local_addr().unwrap().port();
        let (came, requests) = channel();
        let (leaves, given_up) = channel();
        let url = match door {
            Some(_) => format!("https://localhost:{port}/tsa"),
            None => format!("http://127.0.0.1:{port}/tsa"),
        };
        thread::spawn(move || {
            for stream in listener.incoming() {
                let stream = stream.unwrap();
                let told = (&came, &leaves);
                match &door {
                    None => exchange(stream, &mut answer, told),
                    Some(door) => {
                        let secure = ServerConnection::new(Arc::clone(door)).unwrap();
                        exchange(StreamOwned::new(secure, stream), &mut answer, told);
                    }
                }
            }
        });
        Self {
            url,
            port,
            requests,
            given_up,
        }
    }

    /// One that has the authority answer everything.
    pub(crate) fn of(authority: &Arc<Authority>) -> Self {
        let authority = Arc::clone(authority);
        Self::start(None, move |body| Sent::Bytes(ok(&authority.answer(body))))
    }

    /// The same behind a door.
    pub(crate) fn behind(door: Arc<ServerConfig>, authority: &Arc<Authority>) -> Self {
        let authority = Arc::clone(authority);
        Self::start(Some(door), move |body| {
            Sent::Bytes(ok(&authority.answer(body)))
        })
    }
}

/// The first byte of a handshake of TLS.
const HANDSHAKE: u8 = 22;

/// One request and what comes back. A connection that fails is the other side's affair.
fn exchange(
    stream: impl Read + Write,
    answer: &mut impl FnMut(&[u8]) -> Sent,
    (came, leaves): (&Sender<Vec<u8>>, &Sender<()>),
) {
    let mut reader = BufReader::new(stream);
    // Where no TLS is spoken, web servers answer its handshake so.
    if reader
        .fill_buf()
        .is_ok_and(|bytes| bytes.first() == Some(&HANDSHAKE))
    {
        let _ = reader
            .get_mut()
            .write_all(b"HTTP/1.1 400 Bad Request\r\n\r\n");
        return;
    }
    let mut length = 0;
    loop {
        let mut line = String::new();
        match reader.read_line(&mut line) {
            Ok(0) | Err(_) => return,
            Ok(_) if line == "\r\n" => break,
            Ok(_) => {}
        }
        if let Some(value) = line.to_lowercase().strip_prefix("content-length:") {
            length = value.trim().parse().unwrap();
        }
    }
    let mut body = vec![0; length];
    if reader.read_exact(&mut body).is_err() {
        return;
    }
    let sent = answer(&body);
    let _ = came.send(body);
    match sent {
        Sent::Bytes(bytes) => {
            let stream = reader.get_mut();
            let _ = stream.write_all(&bytes).and_then(|()| stream.flush());
        }
        Sent::Nothing => {}
        Sent::Silence => {
            let _ = reader.read(&mut [0]);
            let _ = leaves.send(());
        }
    }
}

/// An answer of HTTP with a time stamp, or what stands in its place.
pub(crate) fn ok(body: &[u8]) -> Vec<u8> {
    of_kind("application/timestamp-reply", body)
}

/// An answer with another kind of content.
pub(crate) fn of_kind(kind: &str, body: &[u8]) -> Vec<u8> {
    let head = format!(
        "HTTP/1.1 200 OK\r\nContent-Type: {kind}\r\nContent-Length: {}\r\n\r\n",
        body.len()
    );
    [head.as_bytes(), body].concat()
}

//! Reads a `[[sink]]` of the kind `postgres`: server, database and login.

use super::faults::{Fault, Faults, quoted};
use super::mqtt::host_and_port;
use super::table::Table;
use super::tls::{self, TlsFiles, is_here};
use std::path::{Path, PathBuf};

/// Address and login of a database.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PostgresConfig {
    /// Host name or address of the server.
    pub host: String,
    /// TCP port; by default 5432.
    pub port: u16,
    /// Name of the database.
    pub name: String,
    /// Whether the connection is encrypted.
    pub tls: bool,
    /// The files of its TLS connection.
    pub files: TlsFiles,
    /// User name; by default `tallyjaw`.
    pub user: String,
    /// File with the password, so that the configuration itself holds none.
    pub password_file: Option<PathBuf>,
}

const PORT: u16 = 5432;
const LONGEST_NAME: usize = 63;
const USER: &str = "tallyjaw";

/// Every key of such a sink except `name`, `kind` and those of [`tls`].
pub(super) const KEYS: [&str; 4] = ["database", "tls", "user", "password_file"];

/// Reads the settings. Relative paths are joined to `base`.
pub(super) fn read(
    table: &mut Table<'_>,
    faults: &mut Faults,
    base: &Path,
) -> Option<PostgresConfig> {
    let address = database(table, faults);
    let wanted = table.boolean(faults, "tls");
    let here = address.as_ref().is_some_and(|(host, _, _)| is_here(host));
    let is_secure = wanted.map_or(!here, |wanted| wanted.value);
    let open = (!is_secure && address.is_some()).then_some("tls = true");
    let far = open.filter(|_| !here);
    let far = far.map(|_| ("want tls = true", "the server needs a certificate"));
    let (user, password_file) = tls::login(table, faults, base, far);
    let files = tls::read(table, faults, base, open);
    let (host, port, name) = address?;
    Some(PostgresConfig {
        host,
        port,
        name,
        tls: is_secure,
        files,
        user: user.unwrap_or_else(|| USER.to_owned()),
        password_file,
    })
}

/// Reads `postgres://HOST/DATABASE` or `postgres://HOST:PORT/DATABASE`.
fn database(table: &mut Table<'_>, faults: &mut Faults) -> Option<(String, u16, String)> {
    let text = table.required_text(faults, "database", "\"postgres://db.example/shop\"")?;
    let parsed = address(&text.value);
    if parsed.is_none() {
        let got = format!("database is {}", quoted(&text.value));
        let want = "want \"postgres://HOST/DATABASE\", with :PORT if it is not 5432";
        let help = text.value.contains('@').then(|| {
            "who we are stands in `user` and `password_file`, where no listing shows it".to_owned()
        });
        faults.add(&text.place, Fault::new(got, want).help_of(help));
    }
    parsed
}

fn address(text: &str) -> Option<(String, u16, String)> {
    let (place, name) = text.strip_prefix("postgres://")?.split_once('/')?;
    let (host, port) = host_and_port(place, PORT)?;
    let is_plain = |byte: u8| byte.is_ascii_alphanumeric() || b"-_.".contains(&byte);
    let is_name = (1..=LONGEST_NAME).contains(&name.len()) && name.bytes().all(is_plain);
    is_name.then(|| (host, port, name.to_owned()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_database_is_a_host_with_or_without_its_port_and_a_name() {
        let known = |host: &str, port| Some((host.to_owned(), port, "shop".to_owned()));
        assert_eq!(address("postgres://db/shop"), known("db", 5432));
        assert_eq!(address("postgres://[::1]:99/shop"), known("[::1]", 99));
        for text in [
            "db/shop",
            "postgres://db",
            "postgres://db/",
            "postgres:///shop",
            "postgres://db/shop?sslmode=disable",
            "postgres://u:p@db/shop",
            "postgresql://db/shop",
        ] {
            assert_eq!(address(text), None, "{text}");
        }
    }
}

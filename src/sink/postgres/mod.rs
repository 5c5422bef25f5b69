//! Puts every reading into a table of a `PostgreSQL` database, with what became of it.
//!
//! In: durable lines in order. Out: rows of [`sql`], and in the same transaction the last entry that
//! they include.
//!
//! - The database knows how far it is. So a row is never missing or double, also after the database was killed, or was
//!   restored from a copy of last week: the sink goes on where its table ends.
//! - It knows the digest of that entry too. A journal that is behind it, or has another entry there, is another copy of the
//!   journal: no row is changed by it.
//! - The tables are made if they are not there. A user that may not make tables gets them by `tallyjaw schema --sql`.

mod fold;

use super::outlet::{Broken, Delivery, Outlet, Place};
use super::{REMEDY, one_line};
use crate::config::PostgresConfig;
use crate::durable::Failed;
use crate::entry::Seq;
use crate::entry::line::decode;
use crate::export::sql_table as sql;
use crate::journal::{Line, blocking};
use crate::web::{Unreachable, client, connected, secured, within};
use fold::Fold;
use serde_json::Value;
use std::io;
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncReadExt as _, AsyncWrite, AsyncWriteExt as _};
use tokio::net::TcpStream;
use tokio::task::JoinHandle;
use tokio_postgres::config::SslMode;
use tokio_postgres::types::ToSql;
use tokio_postgres::{Client, Config, NoTls, Statement};

/// Time limit for a connection, and for a statement.
const WITHIN: Duration = Duration::from_secs(30);

/// The request for TLS, and the answer that grants it (`PostgreSQL`'s manual, "SSL Session Encryption").
const SSL_REQUEST: [u8; 8] = [0, 0, 0, 8, 0x04, 0xd2, 0x16, 0x2f];
const SSL_GRANTED: u8 = b'S';

/// A database.
#[derive(Debug, Clone)]
pub(crate) struct Database {
    /// Its settings.
    pub(crate) config: PostgresConfig,
    /// Identity of the journal.
    pub(crate) journal: String,
}

/// Why the database did not take rows.
#[derive(Debug, thiserror::Error)]
enum DatabaseError {
    #[error(transparent)]
    Web(#[from] Unreachable),
    #[error(transparent)]
    Password(#[from] Failed),
    /// The server does not speak TLS.
    #[error("{host} answers the request for TLS with {got:?}, want \"S\"")]
    NoTls { host: String, got: String },
    /// The journal is behind the tables.
    #[error("{host} has entries up to {has} of this journal, which ends with entry {newest}")]
    Behind { host: String, has: Seq, newest: Seq },
    /// The journal has other entries than the tables.
    #[error("entry {has} of {host} is not the one of this journal")]
    OtherEntry { host: String, has: Seq },
    /// The database refuses a login or a statement, or the connection ended.
    #[error("{host}: {error}")]
    Refused {
        host: String,
        /// The code of the error, by the standard of SQL.
        code: String,
        error: String,
    },
}

impl DatabaseError {
    fn remedy(&self) -> &'static str {
        match self {
            Self::Web(error) => error.remedy(),
            Self::Password(_) => REMEDY,
            Self::NoTls { .. } => {
                "let the server offer TLS (ssl = on), or write tls = false where nobody listens on the line"
            }
            Self::Behind { .. } | Self::OtherEntry { .. } => {
                "this journal was restored from an older copy or cut: verify it by the database's anchor (docs/integrate.md); if it is the right one, rename both tables, and all its rows are written again"
            }
            Self::Refused { code, .. } => remedy_of(code),
        }
    }
}

/// What to do about an error of the database: the manual of `PostgreSQL`, appendix A.
fn remedy_of(code: &str) -> &'static str {
    match code {
        "3D000" => "make the database (createdb), or correct its name in `database`",
        "42501" => {
            "grant the user CREATE on the schema, or make the tables by `tallyjaw schema --sql` and grant it SELECT, INSERT and UPDATE on them"
        }
        "42703" | "42P01" | "42P10" | "42804" => {
            "a table has other columns than `tallyjaw schema --sql` makes: rename it, and all rows are written again"
        }
        "25006" => "the server only reads: name the one that takes changes in `database`",
        _ => match code.get(..2) {
            Some("28") => "look at `user` and `password_file`, and at the server's pg_hba.conf",
            Some("53") => "make room at the server; the entries wait in the journal",
            Some("57") | None => "check that the server runs and that `database` names it",
            Some(_) => "look at the server's log",
        },
    }
}

impl From<DatabaseError> for Broken {
    fn from(error: DatabaseError) -> Self {
        let remedy = error.remedy();
        Self::new(error, remedy)
    }
}

impl Database {
    fn host(&self) -> String {
        format!("the database {}:{}", self.config.host, self.config.port)
    }

    fn failed(&self, error: &tokio_postgres::Error) -> DatabaseError {
        let cause = error.as_db_error();
        DatabaseError::Refused {
            host: self.host(),
            code: cause.map_or(String::new(), |cause| cause.code().code().to_owned()),
            error: cause.map_or_else(|| error.to_string(), |cause| cause.message().to_owned()),
        }
    }

    async fn connection(&self) -> Result<Tables, DatabaseError> {
        let stream = connected(&self.config.host, self.config.port).await?;
        if !self.config.tls {
            return self.login(stream).await;
        }
        let stream = self.asks_for_tls(stream).await?;
        let files = client(&self.config.files).await?;
        let stream = secured(files, &self.config.host, self.config.port, stream).await?;
        self.login(stream).await
    }

    async fn asks_for_tls(&self, mut stream: TcpStream) -> Result<TcpStream, DatabaseError> {
        let mut answer = [0];
        let asked = async {
            stream.write_all(&SSL_REQUEST).await?;
            stream.read_exact(&mut answer).await?;
            Ok::<(), io::Error>(())
        };
        asked.await.map_err(|cause| Unreachable::Connection {
            host: self.host(),
            cause,
        })?;
        if answer == [SSL_GRANTED] {
            return Ok(stream);
        }
        Err(DatabaseError::NoTls {
            host: self.host(),
            got: String::from_utf8_lossy(&answer).into_owned(),
        })
    }

    async fn login(
        &self,
        stream: impl AsyncRead + AsyncWrite + Send + Unpin + 'static,
    ) -> Result<Tables, DatabaseError> {
        let mut login = Config::new();
        login
            .user(&self.config.user)
            .dbname(&self.config.name)
            .application_name("tallyjaw")
            .ssl_mode(SslMode::Disable); // TLS, where it is wanted, is there already.
        if let Some(path) = self.config.password_file.clone() {
            login.password(blocking(move || one_line(&path)).await?);
        }
        let opened = login.connect_raw(stream, NoTls).await;
        let (client, connection) = opened.map_err(|error| self.failed(&error))?;
        let connection = tokio::spawn(connection);
        let mut tables = Tables {
            database: self.clone(),
            client,
            connection,
            statement: None,
            place: None,
            digest: None,
            fold: None,
        };
        tables
            .prepare()
            .await
            .map_err(|error| self.failed(&error))?;
        Ok(tables)
    }
}

impl Outlet for Database {
    const KIND: &'static str = "postgres";
    type Connection = Tables;

    async fn open(&self) -> Result<Tables, Broken> {
        Ok(within(WITHIN, self.host(), self.connection()).await?)
    }
}

/// A connection to the database. It ends when it is dropped.
pub(crate) struct Tables {
    database: Database,
    client: Client,
    connection: JoinHandle<Result<(), tokio_postgres::Error>>,
    statement: Option<Statement>,
    /// Where the tables end; `None` if they have nothing of this journal.
    place: Option<Place>,
    /// The digest of the last entry that they include; `None` once the entry after it has confirmed it.
    digest: Option<String>,
    /// `None` before the first line.
    fold: Option<Fold>,
}

impl Drop for Tables {
    fn drop(&mut self) {
        self.connection.abort();
    }
}

impl Tables {
    /// Makes the tables if one is not there, and looks where they end.
    async fn prepare(&mut self) -> Result<(), tokio_postgres::Error> {
        let there =
            "SELECT to_regclass($1::text) IS NOT NULL AND to_regclass($2::text) IS NOT NULL";
        let there = self
            .client
            .query_one(there, &[&sql::READINGS, &sql::JOURNALS])
            .await?;
        if !there.try_get::<_, bool>(0)? {
            self.client.batch_execute(&sql::tables()).await?;
        }
        self.statement = Some(self.client.prepare(&sql::upsert()).await?);
        let place = format!(
            "SELECT \"seq\", \"reads_after\", \"digest\" FROM {} WHERE \"journal\" = $1",
            sql::JOURNALS
        );
        if let Some(row) = self
            .client
            .query_opt(&place, &[&self.database.journal])
            .await?
        {
            let seq = |number: i64| Seq(u64::try_from(number).unwrap_or_default());
            self.place = Some(Place {
                has: seq(row.try_get(0)?),
                reads_after: seq(row.try_get(1)?),
            });
            self.digest = Some(row.try_get(2)?);
        }
        Ok(())
    }

    fn has(&self) -> Seq {
        self.place.map_or(Seq(0), |place| place.has)
    }

    /// The entry after the last one that the tables include must follow it: it has the digest of its line.
    fn confirm(&mut self, lines: &[Line]) -> Result<(), DatabaseError> {
        let has = self.has();
        let Some(next) = lines.iter().find(|line| line.seq == has.following()) else {
            return Ok(());
        };
        let is_it =
            |digest: String| decode(&next.bytes).is_ok_and(|(_, prev)| prev.to_string() == digest);
        // At 0 they include no entry, so there is none to confirm.
        if self.digest.take().is_none_or(is_it) || has == Seq(0) {
            return Ok(());
        }
        Err(DatabaseError::OtherEntry {
            host: self.database.host(),
            has,
        })
    }
}

impl Delivery for Tables {
    fn place(&self, _: Seq, newest: Seq) -> Result<Place, Broken> {
        let none = Place {
            has: Seq(0),
            reads_after: Seq(0),
        };
        let place = self.place.unwrap_or(none);
        if place.has > newest {
            let behind = DatabaseError::Behind {
                host: self.database.host(),
                has: place.has,
                newest,
            };
            return Err(behind.into());
        }
        Ok(place)
    }

    async fn deliver(&mut self, lines: &[Line]) -> Result<usize, Broken> {
        self.confirm(lines)?;
        let (part, has) = (lines.to_vec(), self.has());
        let fold = self.fold.take();
        let mut fold = fold.unwrap_or_else(|| Fold::new(&self.database.journal));
        let (fold, change) = blocking(move || {
            let change = fold.take(&part, has);
            (fold, change)
        })
        .await;
        self.fold = Some(fold);
        let (Some(change), Some(statement)) = (change?, &self.statement) else {
            return Ok(lines.len());
        };
        let rows = Value::Array(change.rows.into_values().collect()).to_string();
        let (seq, digest) = (change.last.0, change.last.1.to_string());
        let number = |seq: Seq| i64::try_from(seq.0).unwrap_or(i64::MAX);
        let (at, reads_after) = (number(seq), number(change.reads_after));
        let journal = &self.database.journal;
        let put = async {
            let values: [&(dyn ToSql + Sync); 5] = [&rows, journal, &at, &digest, &reads_after];
            let put = self.client.execute(statement, &values).await;
            put.map_err(|error| self.database.failed(&error))
        };
        within(WITHIN, self.database.host(), put).await?;
        self.place = Some(Place {
            has: seq,
            reads_after: change.reads_after,
        });
        Ok(lines.len())
    }

    async fn ended(&mut self) -> Broken {
        let error = match (&mut self.connection).await {
            Ok(Err(error)) => self.database.failed(&error),
            Ok(Ok(())) | Err(_) => DatabaseError::Refused {
                host: self.database.host(),
                code: String::new(),
                error: "the connection was closed".to_owned(),
            },
        };
        error.into()
    }
}

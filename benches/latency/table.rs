//! A database of its own with the tables of a sink, which says each row that it takes.

use super::outlets::{Arrival, Outlet};
use super::{Result, daemon};
use crate::database::Server;
use std::net::TcpStream;
use std::process::Command;
use std::sync::mpsc::{Sender, channel};
use std::time::Instant;
use tokio_postgres::{AsyncMessage, Config, NoTls};

/// Says of each row its value and verdict, in the form of an entry.
const SAYS: &str = r#"
CREATE FUNCTION says() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN
PERFORM pg_notify('rows', '"value":' || NEW.value || ',"verdict":"' || NEW.verdict || '"');
RETURN NULL; END $$;
CREATE TRIGGER says AFTER INSERT ON tallyjaw_readings FOR EACH ROW EXECUTE FUNCTION says();
GRANT ALL ON tallyjaw_readings, tallyjaw_journals TO bench;
"#;

/// Starts a server with the tables. A row is there when its message was read.
pub(super) fn start() -> Result<Outlet> {
    let server = Server::start("")?;
    let tables = Command::new(&daemon::ours().1)
        .args(["schema", "--sql"])
        .output()?;
    let tables = String::from_utf8(tables.stdout)?;
    server.sql("shop", &format!("{tables}{SAYS}"))?;
    let port = server.port;
    let (came, arrivals) = channel();
    std::thread::spawn(move || {
        let _ = listen(port, &came);
    });
    Ok(Outlet {
        name: "postgres",
        sink: format!(
            "\n[[sink]]\nname = \"db\"\nkind = \"postgres\"\ndatabase = \"postgres://127.0.0.1:{port}/shop\"\nuser = \"bench\"\n"
        ),
        arrivals,
        _holds: Box::new(server),
    })
}

fn listen(port: u16, came: &Sender<Arrival>) -> Result<()> {
    let stream = TcpStream::connect(("127.0.0.1", port))?;
    stream.set_nodelay(true)?;
    stream.set_nonblocking(true)?;
    let mut runtime = tokio::runtime::Builder::new_current_thread();
    let runtime = runtime.enable_all().build()?;
    runtime.block_on(async {
        let stream = tokio::net::TcpStream::from_std(stream)?;
        let mut login = Config::new();
        login.user("owner").dbname("shop");
        let (client, mut connection) = login.connect_raw(stream, NoTls).await?;
        let listens = async {
            let _ = client.batch_execute("LISTEN rows").await;
            std::future::pending::<()>().await;
        };
        let reads = async {
            loop {
                let next = std::future::poll_fn(|context| connection.poll_message(context));
                let Some(Ok(message)) = next.await else {
                    return;
                };
                if let AsyncMessage::Notification(row) = message {
                    let row = (Instant::now(), row.payload().to_owned());
                    if came.send(row).is_err() {
                        return;
                    }
                }
            }
        };
        tokio::select! {
            () = listens => {}
            () = reads => {}
        }
        Ok(())
    })
}

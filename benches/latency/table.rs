//! A database of its own with the tables of a sink, which says each row that it takes.

use super::outlets::{Arrival, Outlet};
use super::{Child, PATIENCE, Result, daemon};
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::mpsc::{Sender, channel};
use std::time::{Duration, Instant};
use tokio_postgres::{AsyncMessage, Config, NoTls};

/// Says of each row its value and verdict, in the form of an entry.
const SAYS: &str = r#"
CREATE FUNCTION says() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN
PERFORM pg_notify('rows', '"value":' || NEW.value || ',"verdict":"' || NEW.verdict || '"');
RETURN NULL; END $$;
CREATE TRIGGER says AFTER INSERT ON tallyjaw_readings FOR EACH ROW EXECUTE FUNCTION says();
GRANT ALL ON tallyjaw_readings, tallyjaw_journals TO tallyjaw;
"#;

/// A program of the server, which Debian keeps out of the search path.
fn program(name: &str) -> Result<PathBuf> {
    let folders = std::fs::read_dir("/usr/lib/postgresql")?;
    let found = folders.map_while(std::result::Result::ok);
    let found = found.map(|item| item.path().join("bin").join(name));
    let found = found.filter(|path| path.exists()).max();
    found.ok_or_else(|| format!("no {name}; ./check installs it").into())
}

/// A command as another user if we are root, which a server refuses to be.
fn as_nobody(program: &Path) -> Command {
    if rustix::process::geteuid().is_root() {
        let mut command = Command::new("setpriv");
        command.args(["--reuid=nobody", "--regid=nogroup", "--clear-groups", "--"]);
        command.arg(program);
        return command;
    }
    Command::new(program)
}

fn done(command: &mut Command) -> Result<Vec<u8>> {
    let output = command.output()?;
    if output.status.success() {
        return Ok(output.stdout);
    }
    Err(format!("{command:?}: {output:?}").into())
}

/// Starts a server with the tables. A row is there when its message was read.
pub(super) fn start(folder: &Path) -> Result<(u16, Outlet)> {
    let data = std::env::temp_dir().join(format!("tallyjaw-latency-{}", std::process::id()));
    std::fs::create_dir_all(&data)?;
    if rustix::process::geteuid().is_root() {
        done(Command::new("chown").arg("nobody").arg(&data))?;
    }
    let mut initdb = as_nobody(&program("initdb")?);
    initdb.args([
        "-U",
        "owner",
        "-A",
        "trust",
        "-E",
        "UTF8",
        "--locale=C",
        "-D",
    ]);
    done(initdb.arg(&data))?;
    let port = TcpListener::bind("127.0.0.1:0")?.local_addr()?.port();
    let said = std::fs::File::create(folder.join("postgres"))?;
    let server = as_nobody(&program("postgres")?)
        .arg("-D")
        .arg(&data)
        .args(["-p", &port.to_string(), "-h", "127.0.0.1", "-k", ""])
        .stdout(said.try_clone()?)
        .stderr(said)
        .spawn()?;
    let server = Child(server);
    let psql = |statement: &str| {
        let mut psql = Command::new("psql");
        psql.args(["-X", "-q", "-v", "ON_ERROR_STOP=1", "-h", "127.0.0.1"]);
        psql.args(["-U", "owner", "-d", "postgres", "-p", &port.to_string()]);
        done(psql.args(["-c", statement]).stdin(Stdio::null()))
    };
    let deadline = Instant::now() + PATIENCE;
    while psql("SELECT 1").is_err() {
        if Instant::now() > deadline {
            return Err("the database does not answer".into());
        }
        std::thread::sleep(Duration::from_millis(50));
    }
    psql("CREATE USER tallyjaw")?;
    let tables = done(Command::new(&daemon::ours().1).args(["schema", "--sql"]))?;
    psql(&format!("{}{SAYS}", String::from_utf8(tables)?))?;
    let (came, arrivals) = channel();
    std::thread::spawn(move || {
        let _ = listen(port, &came);
    });
    let outlet = Outlet {
        name: "postgres",
        arrivals,
        _processes: vec![server],
    };
    Ok((port, outlet))
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
        login.user("owner").dbname("postgres");
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

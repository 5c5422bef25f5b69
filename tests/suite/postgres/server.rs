//! A database server of its own in a folder that vanishes with it. `benches/latency` uses it too.

use std::error::Error;
use std::fs;
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::thread;
use std::time::{Duration, Instant};

pub(crate) type Result<T> = std::result::Result<T, Box<dyn Error>>;

/// Another user than root, as which the server runs: it refuses to be root.
pub(crate) const NOBODY: &str = "nobody";

/// Longer than a start takes anywhere.
const PATIENCE: Duration = Duration::from_secs(60);

/// A program of the server, which Debian keeps out of the search path.
fn program(name: &str) -> Result<PathBuf> {
    let folders = fs::read_dir("/usr/lib/postgresql").into_iter().flatten();
    let found = folders.map_while(std::result::Result::ok);
    let found = found.map(|item| item.path().join("bin").join(name));
    let found = found.filter(|path| path.exists()).max();
    found.ok_or_else(|| format!("no {name}; ./check installs it").into())
}

/// A command, run by that user if we are root.
fn as_nobody(program: &Path) -> Command {
    if rustix::process::geteuid().is_root() {
        let mut command = Command::new("setpriv");
        let user = format!("--reuid={NOBODY}");
        command.args([&user, "--regid=nogroup", "--clear-groups", "--"]);
        command.arg(program);
        return command;
    }
    Command::new(program)
}

fn done(command: &mut Command) -> Result<()> {
    let output = command.output()?;
    if output.status.success() {
        return Ok(());
    }
    Err(format!("{command:?}: {output:?}").into())
}

/// Gives a file or folder to the user of the server.
pub(crate) fn give(path: &Path) -> Result<()> {
    if rustix::process::geteuid().is_root() {
        done(Command::new("chown").arg(NOBODY).arg(path))?;
    }
    Ok(())
}

/// A server with a database `shop` and the user `bench`, in a folder of its own.
pub(crate) struct Server {
    folder: tempfile::TempDir,
    pub(crate) port: u16,
    child: Option<Child>,
    runs_as: RunsAs,
}

/// A program in the server's folder that runs the command after it, if there is to be one.
pub(crate) type RunsAs = fn(&Path) -> Option<Command>;

impl Server {
    /// Starts it with more lines in its configuration.
    pub(crate) fn start(more: &str) -> Result<Self> {
        Self::start_as(more, |_| None)
    }

    pub(crate) fn start_as(more: &str, runs_as: RunsAs) -> Result<Self> {
        let folder = tempfile::tempdir()?;
        give(folder.path())?;
        let port = TcpListener::bind("127.0.0.1:0")?.local_addr()?.port();
        let mut server = Self {
            folder,
            port,
            child: None,
            runs_as,
        };
        let mut initdb = as_nobody(&program("initdb")?);
        initdb.args(["-U", "owner", "-A", "trust", "-E", "UTF8", "--locale=C"]);
        done(initdb.args(["--no-sync", "-D"]).arg(server.data()))?;
        let own = format!(
            "\nport = {port}\nlisten_addresses = '127.0.0.1'\nunix_socket_directories = ''\n{more}\n"
        );
        server.add("postgresql.conf", &own)?;
        server.run()?;
        server.sql("postgres", "CREATE DATABASE shop")?;
        server.sql(
            "shop",
            "CREATE USER bench PASSWORD 'right'; GRANT ALL ON SCHEMA public TO bench",
        )?;
        Ok(server)
    }

    pub(crate) fn data(&self) -> PathBuf {
        self.folder.path().join("data")
    }

    /// Adds text to a file of the server.
    pub(crate) fn add(&self, name: &str, text: &str) -> Result<()> {
        let path = self.data().join(name);
        let before = fs::read_to_string(&path).unwrap_or_default();
        Ok(fs::write(path, before + text)?)
    }

    /// Starts the server, as often as the remains of a killed one refuse it.
    pub(crate) fn run(&mut self) -> Result<()> {
        let deadline = Instant::now() + PATIENCE;
        loop {
            let mut server = as_nobody(&program("postgres")?);
            server.arg("-D").arg(self.data());
            let by = (self.runs_as)(self.folder.path()).map(|mut by| {
                by.arg(server.get_program()).args(server.get_args());
                by
            });
            let mut child = by
                .unwrap_or(server)
                .stdout(Stdio::null())
                .stderr(Stdio::null())
                .spawn()?;
            while child.try_wait()?.is_none() {
                if self.answers() {
                    self.child = Some(child);
                    return Ok(());
                }
                if Instant::now() > deadline {
                    child.kill()?;
                    child.wait()?;
                    return Err("the server does not start".into());
                }
                thread::sleep(Duration::from_millis(20));
            }
            if Instant::now() > deadline {
                return Err("the server ends at its start".into());
            }
            thread::sleep(Duration::from_millis(50));
        }
    }

    /// Whether it takes statements, and not only connections.
    fn answers(&self) -> bool {
        TcpStream::connect(("127.0.0.1", self.port)).is_ok()
            && self.sql("postgres", "SELECT 1").is_ok()
    }

    pub(crate) fn kill(&mut self) -> Result<()> {
        if let Some(mut child) = self.child.take() {
            child.kill()?;
            child.wait()?;
        }
        Ok(())
    }

    fn psql(&self, database: &str, statement: &str) -> Result<Output> {
        let output = Command::new(program("psql")?)
            .args(["-X", "-q", "-A", "-t", "-v", "ON_ERROR_STOP=1"])
            .args(["-h", "127.0.0.1", "-U", "owner"])
            .args(["-p", &self.port.to_string()])
            .args(["-d", database, "-c", statement])
            .output()?;
        Ok(output)
    }

    /// What a statement of the owner gives, one line for each row.
    pub(crate) fn sql(&self, database: &str, statement: &str) -> Result<Vec<String>> {
        let output = self.psql(database, statement)?;
        if !output.status.success() {
            return Err(format!("{statement}: {output:?}").into());
        }
        let text = String::from_utf8(output.stdout)?;
        Ok(text.lines().map(str::to_owned).collect())
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.kill();
    }
}

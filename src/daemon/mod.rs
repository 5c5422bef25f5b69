//! The daemon: its tasks, what each owns, and the loop that feeds the core.
//!
//! In: a checked configuration. Out: a daemon that runs until a signal stops it.
//!
//! One thread runs ports, clients and the loop of `hub`, a second one owns the file of the journal, and a third one runs
//! the page. They exchange messages over bounded channels. Nothing is decoded or judged here.
#![expect(
    clippy::disallowed_methods,
    reason = "edge: the daemon reads clocks and files"
)]

mod answers;
mod change;
pub mod clock;
mod folder;
mod hub;
mod indexing;
mod moving;
mod outage;
mod ports;
mod reload;
pub mod replay;
mod sealing;
mod service;
mod signals;
mod stall;
mod stop;
mod tablets;
mod tokens;

use crate::clients::{self, Intake, Live, MOST_CLIENTS, RuntimeDir, SocketError};
use crate::config::{Config, DataSetConfig, SinkConfig, SinkSettings};
use crate::entry::Seq;
use crate::journal::{
    self, Announcement, Handle, JOURNAL_FOLDER, JournalError, Opened, Options, Torn,
};
use crate::message::reply::TabletStatus;
use crate::page::{Meter, Page, PageError, Programs, Sources};
use crate::quantity::WallMicros;
use crate::sink;
use crate::station::Core;
use answers::Waiting;
use change::Changing;
use clock::Clock;
use folder::Folders;
use hub::Hub;
use indexing::Indexing;
use outage::{Mode, UndurableFrames};
use ports::Ports;
use reload::Reloading;
use sealing::Sealing;
use signals::Signals;
use stall::Stall;
use std::collections::BTreeMap;
use std::io;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;
use tokio::runtime::{self, Builder, Runtime};
use tokio::sync::{Semaphore, mpsc, watch};
use tokio::task::JoinHandle;

/// Version that the daemon reports.
pub const VERSION: &str = env!("CARGO_PKG_VERSION");

/// Time that clients and sinks get for the last entries when the daemon stops.
const FAREWELL: Duration = Duration::from_millis(300);

/// Maximum number of requests from control clients that wait.
const REQUESTS_WAITING: usize = 16;

/// Settings for running a daemon.
#[derive(Debug)]
pub struct Setup {
    /// Path of the configuration, for a reload.
    pub config_path: PathBuf,
    /// The configuration.
    pub config: Config,
    /// The damaged entry that the user accepted.
    pub accept_damage: Option<Seq>,
    /// The last entry of a rolled-back journal, if the user accepted that.
    pub accept_rollback: Option<Seq>,
    /// `false` only for measuring the cost of syncing.
    pub sync: bool,
    /// A longer segment is full: [`journal::SEGMENT_BYTES`], except in tests.
    pub segment_bytes_most: u64,
    /// Time without an answer from the disk after which clients get a notice: [`STALL_AFTER`], except in tests.
    pub stall_after: Duration,
    /// Time for which a pairing code is valid: [`CODE_LASTS`](crate::page::tablet::CODE_LASTS), except in tests.
    pub code_lasts: Duration,
}

/// A disk that takes longer has stalled. The time is ten times that of a slow disk, and short enough that a person does
/// not wonder why nothing is shown.
pub const STALL_AFTER: Duration = Duration::from_secs(2);

/// Paths and addresses of a daemon that serves.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ready {
    /// Path of the feed's socket.
    pub feed: PathBuf,
    /// Path of the control socket.
    pub control: PathBuf,
    /// Folder of the journal.
    pub journal_dir: PathBuf,
    /// Identity of the journal.
    pub journal: String,
    /// Last entry of the journal.
    pub last: Seq,
    /// Path of the verdict log.
    pub log: PathBuf,
    /// Address of the bench page, if it is served.
    pub page: Option<SocketAddr>,
    /// Where tablets connect, if they may.
    pub tablet: Option<TabletStatus>,
}

/// Why the daemon cannot run, or has stopped.
#[derive(Debug, thiserror::Error)]
pub enum DaemonError {
    /// The journal cannot be opened.
    #[error(transparent)]
    Journal(#[from] JournalError),
    /// The sockets cannot be made.
    #[error(transparent)]
    Socket(#[from] SocketError),
    /// The bench page cannot be served.
    #[error(transparent)]
    Page(#[from] PageError),
    /// The journal failed while the daemon ran.
    #[error("{message}")]
    JournalFailed {
        /// What happened, and what may be lost.
        message: String,
    },
    /// The system does not provide signals, timers or threads.
    #[error("cannot {action}: {cause}")]
    System {
        /// What failed.
        action: &'static str,
        /// Error of the system.
        cause: io::Error,
    },
}

impl DaemonError {
    /// What to do. It is printed on a line of its own, never as part of the message.
    pub fn remedy(&self) -> Option<String> {
        match self {
            Self::Journal(error) => error.remedy(),
            Self::Socket(error) => Some(error.remedy().to_owned()),
            Self::Page(error) => Some(error.remedy()),
            Self::JournalFailed { .. } => Some(
                "check the disk of state_dir, then start the daemon again: it reports which entries are on the disk"
                    .to_owned(),
            ),
            Self::System { .. } => None,
        }
    }
}

/// Runs the daemon until a signal stops it; `ready` is called once it serves.
pub fn run(setup: Setup, ready: impl FnOnce(&Ready)) -> Result<(), DaemonError> {
    let runtime = build(&mut Builder::new_current_thread())?;
    // A reading does not wait until the page has sent the one before to a hundred browsers. It is a pool of one thread,
    // because such a pool is woken once for many tasks.
    let page_runtime = setup.config.page.as_ref();
    let page_runtime = page_runtime.map(|_| {
        let mut pool = Builder::new_multi_thread();
        build(pool.worker_threads(1).thread_name("page"))
    });
    let page_runtime = page_runtime.transpose()?;
    let at_the_page = page_runtime.as_ref().map(Runtime::handle);
    let result = runtime.block_on(serve(setup, at_the_page, ready));
    // A read that blocks on a slow disk must not delay the end.
    runtime.shutdown_timeout(FAREWELL);
    if let Some(runtime) = page_runtime {
        runtime.shutdown_timeout(FAREWELL);
    }
    result
}

fn build(builder: &mut Builder) -> Result<Runtime, DaemonError> {
    builder
        .enable_all()
        .max_blocking_threads(4)
        .thread_keep_alive(Duration::from_secs(1))
        .build()
        .map_err(|cause| DaemonError::System {
            action: "start the runtime",
            cause,
        })
}

/// `at_the_page` runs the page's tasks, if a page is served.
async fn serve(
    setup: Setup,
    at_the_page: Option<&runtime::Handle>,
    ready: impl FnOnce(&Ready),
) -> Result<(), DaemonError> {
    let options = Options {
        sync: setup.sync,
        accept_damage: setup.accept_damage,
        accept_rollback: setup.accept_rollback,
        segment_bytes_most: setup.segment_bytes_most,
        ..Options::at(crate::clock::wall())
    };
    let daemon = setup.config.daemon.clone();
    let witnesses = sink::witnesses(&daemon.state_dir);
    let opened = journal::open_known(&daemon.state_dir, options, witnesses)?;
    if let Some(torn) = &opened.torn {
        let Torn { file, bytes } = torn;
        tracing::warn!(
            file,
            bytes,
            "an incomplete last line was moved to a file of its own; its entry was never announced"
        );
    }
    let sockets = RuntimeDir::open(&daemon)?;
    let (feed, control) = (sockets.bind_feed()?, sockets.bind_control()?);
    let (programs, page) = open_page(at_the_page, &setup)?;
    let mut signals = Signals::listen().map_err(|cause| DaemonError::System {
        action: "listen for signals",
        cause,
    })?;
    let mut where_all_is = where_all_is(&sockets, &daemon.state_dir, &opened);
    where_all_is.page = page.as_ref().map(Page::address);
    let gate = page.as_ref().and_then(Page::gate);
    where_all_is.tablet = gate.map(|gate| gate.status());
    let meter = Arc::new(Meter::default());

    let (announce, mut announcements) = mpsc::unbounded_channel();
    let (live, journal, core, _indexing) = take_up(&setup, opened, announce, Arc::clone(&meter));
    let configured = setup.config.sinks.clone();
    let (ask, mut asked) = mpsc::channel(REQUESTS_WAITING);
    let intake = Intake::new(Arc::clone(&live), ask.clone());
    let mut hub = Hub {
        config_path: setup.config_path,
        config: setup.config,
        clock: Clock::start(),
        core,
        journal,
        live: Arc::clone(&live),
        meter: Arc::clone(&meter),
        ports: Ports::default(),
        open: BTreeMap::new(),
        waiting: Waiting::default(),
        mode: Mode::Writing,
        wake_at: None,
        on_their_way: UndurableFrames::default(),
        stall: Stall::new(setup.stall_after),
        moving: moving::ShownMoving::default(),
        appended: where_all_is.last,
        durable: where_all_is.last,
        started: where_all_is.last,
        reloading: Reloading::default(),
        gate: page.as_ref().and_then(Page::gate).cloned(),
        programs,
        commanding: None,
        changing: Changing::default(),
        folders: Folders::new(&intake, &live, &ask),
        sealing: Sealing::default(),
    };
    hub.start(&mut announcements).await?;
    hub.enter_revocations();

    let places = Arc::new(Semaphore::new(MOST_CLIENTS));
    let feed = clients::serve_feed(feed, Arc::clone(&live), Arc::clone(&places));
    let control = clients::serve_control(control, ask.clone(), Arc::clone(&intake));
    let serving = [tokio::spawn(feed), tokio::spawn(control)];
    let (stop_page, page_stopped) = watch::channel(());
    let page = at_the_page.zip(page).map(|(runtime, page)| {
        live.set_page(page.address().to_string());
        let sources = Sources {
            live: Arc::clone(&live),
            intake: Arc::clone(&intake),
            asked: ask,
            meter,
            feed_places: Arc::clone(&places),
            zone: crate::clock::zone(),
        };
        runtime.spawn(page.serve(sources, page_stopped))
    });
    let (stop_sinks, sinks) =
        start_sinks(&live, &where_all_is.journal, &configured, &daemon.announce);
    hub.folders.watch(&hub.config.pictures);
    ready(&where_all_is);
    service::serves(matches!(hub.mode, Mode::Writing));
    let result = hub.run(&mut announcements, &mut asked, &mut signals).await;

    hub.folders.watch(&[]);
    for task in serving {
        task.abort();
    }
    drop(asked);
    live.close();
    drop((stop_sinks, stop_page));
    farewell(&places, sinks.into_iter().chain(page)).await;
    sockets.remove_sockets();
    result
}

/// The tokens of programs, if there is anything that they open, and the page, if one is configured.
fn open_page(
    at_the_page: Option<&runtime::Handle>,
    setup: &Setup,
) -> Result<(Option<Arc<Programs>>, Option<Page>), PageError> {
    let state_dir = &setup.config.daemon.state_dir;
    if !setup.config.has_use_of_tokens() {
        return Ok((None, None));
    }
    let programs = Arc::new(Programs::open(state_dir, crate::clock::wall)?);
    let _inside = at_the_page.map(runtime::Handle::enter);
    let tablets: (fn() -> WallMicros, _) = (crate::clock::wall, setup.code_lasts);
    let open = |page| Page::open(page, Arc::clone(&programs), state_dir, tablets);
    let page = setup.config.page.clone().map(open).transpose()?;
    Ok((Some(programs), page))
}

fn where_all_is(sockets: &RuntimeDir, state_dir: &Path, opened: &Opened) -> Ready {
    Ready {
        feed: sockets.feed_path(),
        control: sockets.control_path(),
        journal_dir: state_dir.join(JOURNAL_FOLDER),
        journal: opened.journal.to_string(),
        last: opened.tail.0,
        log: state_dir.join(sink::log::FILE_NAME),
        page: None,
        tablet: None,
    }
}

/// Continues from the end of the journal.
fn take_up(
    setup: &Setup,
    opened: Opened,
    announce: mpsc::UnboundedSender<Announcement>,
    meter: Arc<Meter>,
) -> (Arc<Live>, Handle, Core, Indexing) {
    let catalog = Arc::clone(&setup.config.catalog);
    let live = Arc::new(Live::new(
        VERSION,
        &setup.config.daemon.state_dir,
        (opened.first, opened.tail.0),
        opened.journal,
        opened.state.clone(),
        (
            Arc::clone(&catalog),
            Arc::clone(&setup.config.shop.letterhead),
        ),
    ));
    // Unbounded, but never longer than the journal's own channel allows: the loop takes announcements before anything
    // that makes new entries.
    let everyone = Arc::clone(&live);
    let indexing = Indexing::start(live.state_dir(), opened.tail.0);
    let indexer = indexing.tell();
    let journal = journal::spawn(opened.writer, move |announcement| {
        // Published here and not in the loop, which saves waking a thread before clients of the feed know. The loop wakes
        // everyone else.
        if let Announcement::Durable { lines, took, .. } = &announcement {
            everyone.publish(lines);
            meter.synced(*took);
            indexer.durable(lines);
        }
        let _ = announce.send(announcement);
    });
    let mut core = Core::new(catalog, opened.state);
    core.goes_on_after(opened.last_at);
    (live, journal, core, indexing)
}

type SinkTasks = Vec<JoinHandle<()>>;

/// Starts every sink in a task of its own. They end when the sender is dropped.
fn start_sinks(
    live: &Arc<Live>,
    journal: &str,
    configured: &[SinkConfig],
    announce: &[String],
) -> (watch::Sender<()>, SinkTasks) {
    let (stop, stopped) = watch::channel(());
    let state_dir = live.state_dir().to_owned();
    let place = |name: &str, data_set: Option<&DataSetConfig>| sink::SinkContext {
        state_dir: state_dir.clone(),
        journal: journal.to_owned(),
        name: name.to_owned(),
        data_set: data_set.cloned(),
    };
    let known = Arc::clone(live);
    let tell: sink::attempts::Tell = Arc::new(move |status| known.set_sink(status));
    let row = |place| {
        let tell = Arc::clone(&tell);
        tokio::spawn(sink::run(
            place,
            live.follow(live.last()),
            stopped.clone(),
            tell,
        ))
    };
    let mut tasks = vec![row(place("verdict log", None))];
    for SinkConfig { name, settings } in configured {
        let outlet = Outlets {
            live,
            context: sink::outlet::OutletContext {
                name: name.clone(),
                state_dir: state_dir.clone(),
                journal: journal.to_owned(),
            },
            stopped: stopped.clone(),
            tell: Arc::clone(&tell),
        };
        let journal = journal.to_owned();
        tasks.push(match settings {
            SinkSettings::Parquet(data_set) => row(place(name, Some(data_set))),
            SinkSettings::Mqtt(config) => {
                let known = Arc::clone(live);
                outlet.start(sink::mqtt::BrokerOutlet {
                    config: config.clone(),
                    journal,
                    state: Arc::new(move || known.status().state),
                })
            }
            SinkSettings::Webhook(config) => outlet.start(sink::webhook::Webhook {
                config: config.clone(),
                journal,
            }),
            SinkSettings::Postgres(config) => outlet.start(sink::postgres::Database {
                config: config.clone(),
                journal,
            }),
            SinkSettings::Timestamp(config) => {
                let clock = Clock::start();
                let asking = sink::timestamp::Asking {
                    name: name.clone(),
                    config: config.clone(),
                    state_dir: state_dir.clone(),
                    journal,
                    now: Box::new(move || clock.now()),
                };
                let follow = live.follow(live.last());
                let tell = Arc::clone(&tell);
                tokio::spawn(sink::timestamp::run(asking, follow, stopped.clone(), tell))
            }
        });
    }
    if !announce.is_empty() {
        let follow = live.follow(live.last());
        let saying = sink::announce::run(announce.to_vec(), follow, stopped);
        tasks.push(tokio::spawn(saying));
    }
    (stop, tasks)
}

/// What an outlet is started with.
struct Outlets<'a> {
    live: &'a Arc<Live>,
    context: sink::outlet::OutletContext,
    stopped: watch::Receiver<()>,
    tell: sink::attempts::Tell,
}

impl Outlets<'_> {
    fn start(self, outlet: impl sink::outlet::Outlet + 'static) -> JoinHandle<()> {
        let follow = self.live.follow(self.live.last());
        let Self {
            context,
            stopped,
            tell,
            ..
        } = self;
        tokio::spawn(sink::outlet::run(context, outlet, follow, stopped, tell))
    }
}

/// Gives clients, the page and sinks the last entries, within a time limit.
async fn farewell(places: &Semaphore, others: impl Iterator<Item = JoinHandle<()>>) {
    // Yields until every other task that can run has run, so that given answers are sent.
    for _ in 0..4 {
        tokio::task::yield_now().await;
    }
    let all = u32::try_from(MOST_CLIENTS).unwrap_or(u32::MAX);
    let everyone = async {
        let _ = places.acquire_many(all).await;
        for other in others {
            let _ = other.await;
        }
    };
    if tokio::time::timeout(FAREWELL, everyone).await.is_err() {
        tracing::warn!(
            "a client or sink did not take the last entries in time; they are in the journal"
        );
    }
}

//! The gateway tap: stands at the gateway's UDP port, or between gateway and server, and watches.
//!
//! Three threads share the work, so that none waits for another:
//!
//! | file | what it owns |
//! |------|--------------|
//! | `port` | the sockets: acknowledges or hands on at once, in the order of arrival |
//! | `sources`, `echo`, `drops` | who is admitted; what comes back; what the system dropped |
//! | `record` | the recording: whole lines, files put aside by size |
//! | `desk` | reads frames with the keys at hand and tells what it sees, in the thread that called [`Tap::run`] |
//! | `gateways` | the state of each gateway's ladder |
//! | `ladder` | the state of each node's ladder, from the latest datagrams of the node |
//! | `queue`, `recent` | what lies between threads, and tables: all of a fixed size |
//!
//! Where more comes than can be read, the desk passes some over and counts them; they are acknowledged or
//! handed on, and recorded, all the same. The tap sends nothing of its own but the four octets that
//! acknowledge a PUSH_DATA or PULL_DATA; as a relay it sends nothing of its own at all.

mod board;
mod caught;
mod counters;
mod desk;
mod drops;
mod echo;
mod gateways;
mod ladder;
mod notice;
mod port;
mod queue;
mod recent;
mod record;
mod sources;

use std::{
    collections::{BTreeSet, VecDeque},
    io,
    net::SocketAddr,
    ops::ControlFlow,
    path::PathBuf,
    sync::{
        Arc, Mutex, PoisonError,
        atomic::{AtomicBool, Ordering},
    },
    thread,
    time::{Duration, Instant},
};

use jiff::Timestamp;

pub use board::{Board, GatewayRow, NodeRow};
pub use caught::Caught;
pub use counters::{Counter, Counters};
pub use gateways::{GatewayChange, GatewayStanding};
pub use ladder::{Change, Standing};
pub use notice::{Notice, PortWord, Seen};
pub use record::{Recording, RecordingWord};

use self::{
    desk::Desk,
    port::{Outlet, Port},
    queue::Queue,
    record::Recorder,
};
use crate::{id::Eui64, region::Plan, roster::Roster};

/// What a tap is to do.
#[derive(Clone, Debug)]
pub struct Config {
    /// The address that gateways send to.
    pub listen: SocketAddr,
    /// The second one, where gateways send uplinks and ask for downlinks at two ports.
    pub listen_too: Option<SocketAddr>,
    /// The server to stand in front of; none to be one that acknowledges and never answers.
    pub relay: Option<SocketAddr>,
    /// The gateways that are listened to; all where there are none.
    pub allow: BTreeSet<Eui64>,
    /// What to record.
    pub recording: Option<Recording>,
    /// The channel plan, where the roster states none.
    pub plan: Option<&'static Plan>,
    /// When to end.
    pub run_for: Option<Duration>,
    /// After how many datagrams at the port to end.
    pub count: Option<u64>,
}

impl Config {
    /// Returns a tap at that address which does nothing else.
    pub const fn new(listen: SocketAddr) -> Self {
        Self {
            listen,
            listen_too: None,
            relay: None,
            allow: BTreeSet::new(),
            recording: None,
            plan: None,
            run_for: None,
            count: None,
        }
    }
}

/// Why a tap cannot begin.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum TapError {
    /// The address is not to be had.
    #[error("cannot listen at {listen}: {error}")]
    Listen {
        /// The address.
        listen: SocketAddr,
        /// Why.
        error: io::Error,
    },
    /// The server's address is the tap's own.
    #[error("--relay is the address of the tap itself: {server} leads back to {listen}")]
    Itself {
        /// The server.
        server: SocketAddr,
        /// Where the tap listens.
        listen: SocketAddr,
    },
    /// The recording cannot be opened.
    #[error("cannot record to {}: {error}", path.display())]
    Record {
        /// The file.
        path: PathBuf,
        /// Why.
        error: io::Error,
    },
}

/// A tap that listens.
pub struct Tap {
    config: Config,
    port: Port,
    recorder: Option<Recorder>,
    counters: Counters,
}

impl std::fmt::Debug for Tap {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Tap").field("config", &self.config).finish_non_exhaustive()
    }
}

impl Tap {
    /// Opens the port and the recording. What comes from now on waits for [`Self::run`].
    ///
    /// # Errors
    ///
    /// [`TapError`].
    pub fn open(config: Config) -> Result<Self, TapError> {
        let port = Port::open(&config)?;
        let recorder = config.recording.clone().map(|recording| {
            let path = recording.path.clone();
            Recorder::open(recording).map_err(|error| TapError::Record { path, error })
        });
        let recorder = recorder.transpose()?;
        Ok(Self { config, port, recorder, counters: Counters::default() })
    }

    /// Returns the addresses that gateways send to: one, or a second one for the other direction.
    pub fn locals(&self) -> impl Iterator<Item = SocketAddr> {
        self.port.locals()
    }

    /// Returns how many octets the system keeps until they are read, if that is less than was asked for.
    pub fn capped_buffer(&self) -> Option<usize> {
        let octets = self.port.receive_buffer();
        (octets < port::RECEIVE_BUFFER).then_some(octets)
    }

    /// Runs until `stop` is set, the time is over, or `tell` breaks; then ends in order: all that came is
    /// recorded, and read.
    ///
    /// # Errors
    ///
    /// What the system says where it no longer lets the tap wait for datagrams.
    pub fn run(
        self,
        roster: &Roster,
        stop: &AtomicBool,
        tell: &mut dyn FnMut(&Notice<'_>, &Counters) -> ControlFlow<()>,
    ) -> io::Result<Counters> {
        let Self { config, mut port, recorder, counters } = self;
        let lines = Lines {
            counters: &counters,
            to_desk: Queue::new(DESK_OCTETS),
            to_record: recorder.is_some().then(|| Queue::new(RECORD_OCTETS)),
            behind: Mutex::new(None),
        };
        let until = config.run_for.map(|time| Instant::now() + time);
        let desk = Desk::new(roster, config.plan, config.relay.is_none());
        let ran = thread::scope(|scope| {
            let (lines, counters) = (&lines, &counters);
            if let (Some(recorder), Some(queue)) = (recorder, &lines.to_record) {
                scope.spawn(move || {
                    recorder.run(queue, counters, &|word| {
                        lines.to_desk.give(Item::Recording(word), 0);
                    });
                    // All is written; now nobody speaks to the desk any more.
                    lines.to_desk.close();
                });
            }
            let receiving = scope.spawn(move || {
                let ran = port.run(counters, lines, stop, until);
                match &lines.to_record {
                    Some(queue) => queue.close(),
                    None => lines.to_desk.close(),
                }
                ran
            });
            attend(desk, lines, counters, stop, tell);
            receiving.join()
        });
        // A receiving thread that panicked is a fault of ours, and told as one.
        ran.unwrap_or_else(|panic| std::panic::resume_unwind(panic))?;
        drop(lines);
        Ok(counters)
    }
}

/// Reads what comes and tells it, until the queue is closed.
fn attend(
    mut desk: Desk<'_>,
    lines: &Lines<'_>,
    counters: &Counters,
    stop: &AtomicBool,
    tell: &mut dyn FnMut(&Notice<'_>, &Counters) -> ControlFlow<()>,
) {
    let mut gone = false;
    let mut tell = |notice: &Notice<'_>| {
        if !gone && tell(notice, counters).is_break() {
            gone = true;
            stop.store(true, Ordering::Relaxed);
        }
    };
    let mut batch = VecDeque::new();
    let mut drawn = Instant::now();
    loop {
        let patience = if desk.is_due() { SOON } else { PATIENCE };
        if !lines.to_desk.take(&mut batch, patience) {
            break;
        }
        for item in batch.drain(..) {
            let at = Timestamp::now();
            match item {
                Item::Caught(caught) => desk.take(&caught, counters, &mut tell),
                Item::Server(answers) => tell(&Notice::Server { at, answers }),
                Item::Port(word) => tell(&Notice::Port { at, word }),
                Item::Recording(word) => tell(&Notice::Recording(&word)),
            }
            if drawn.elapsed() >= PATIENCE {
                drawn = Instant::now();
                desk.climb(false, &mut tell);
                tell(&Notice::Idle);
            }
        }
        desk.climb(false, &mut tell);
        if drawn.elapsed() >= PATIENCE {
            drawn = Instant::now();
            tell(&Notice::Idle);
        }
    }
    let patient_until = Instant::now() + LAST_CLIMBS;
    while desk.climb(true, &mut tell) && Instant::now() < patient_until {}
    tell(&Notice::Idle);
}

/// What a desk finds in its queue.
enum Item {
    Caught(Arc<Caught>),
    Server(bool),
    Port(PortWord),
    Recording(RecordingWord),
}

/// From the port to desk and recording.
struct Lines<'a> {
    counters: &'a Counters,
    to_desk: Queue<Item>,
    to_record: Option<Queue<Arc<Caught>>>,
    /// When the recording was last said to be behind.
    behind: Mutex<Option<Instant>>,
}

impl Outlet for Lines<'_> {
    fn caught(&self, caught: Arc<Caught>) {
        let weight = caught.weight();
        if let Some(queue) = &self.to_record
            && !queue.give(Arc::clone(&caught), weight)
        {
            self.counters.not_recorded.one();
            let mut behind = self.behind.lock().unwrap_or_else(PoisonError::into_inner);
            if behind.is_none_or(|told| told.elapsed() >= TOLD_AGAIN) {
                *behind = Some(Instant::now());
                self.to_desk.give(Item::Recording(RecordingWord::Behind), 0);
            }
        }
        if !self.to_desk.give(Item::Caught(caught), weight) {
            self.counters.not_decoded.one();
        }
    }

    fn server(&self, answers: bool) {
        self.to_desk.give(Item::Server(answers), 0);
    }

    fn word(&self, word: PortWord) {
        self.to_desk.give(Item::Port(word), 0);
    }
}

/// Octets of datagrams that wait to be read: some 60,000 small ones.
const DESK_OCTETS: usize = 16 << 20;
/// Octets of datagrams that wait for the disk.
const RECORD_OCTETS: usize = 64 << 20;
/// The screen is drawn, and ladders are climbed, this often while frames come.
const PATIENCE: Duration = Duration::from_millis(200);
/// Ladders are climbed this often when nothing comes.
const SOON: Duration = Duration::from_millis(10);
/// At the end the ladders that are due are climbed for so long at most.
const LAST_CLIMBS: Duration = Duration::from_secs(5);
/// That the recording is behind is told once in this time.
const TOLD_AGAIN: Duration = Duration::from_secs(60);

//! A report for others: what a diagnosis, its trace and its roster say of each node, put together
//! once and laid out by [`crate::show`] as a page or as Markdown.
//!
//! | file | what it puts together |
//! |------|-----------------------|
//! | `claims` | what firmware, record and label state, one above the other, and what was heard |
//! | `exchange` | an attempt to join on one scale of time |
//! | `session` | the settings of both sides, and the last downlinks in time |
//! | `channels` | the channels used against the plan |
//! | `signal` | RSSI and SNR of every reception against the demodulation floor |
//! | `frames` | the frames, octet by octet |
//! | `strangers` | what was heard that is on no roster |
//! | `ticket` | one paragraph to paste |
//! | `data` | the one place that knows how a trace keeps data frames |
//!
//! A report leaves the house of the one who makes it. No digit of a key is in it unless
//! [`Options::show_keys`] asks for them, and payloads stay encrypted.
//!
//! ```
//! use handfast::{ladder, report::{Options, Report}, roster::Roster, show, trace::Tracer};
//!
//! let roster = Roster::default();
//! let trace = Tracer::new(&roster).finish();
//! let all = ladder::diagnose(&trace, &roster, ladder::Options::default());
//! let report = Report::new(&all, &trace, &roster, Options::default());
//! let mut page = String::new();
//! show::markdown::report(&report, &mut page)?;
//! assert!(page.starts_with("# Join report"));
//! # Ok::<(), std::fmt::Error>(())
//! ```

mod channels;
mod claims;
mod data;
mod exchange;
mod frames;
mod session;
mod signal;
mod strangers;
mod ticket;
mod words;

use jiff::Timestamp;

use crate::{
    fact::{Fact, Secrets, text},
    id::{DevAddr, Eui64},
    ladder::{Diagnosis, GatewayDiagnosis},
    reading::KeyRing,
    roster::{Node, Roster},
    trace::{NodeTrace, Trace},
    words::Count,
};

pub(crate) use channels::{Channels, Lane, LaneKind};
pub(crate) use claims::{Member, ShownValue, Standing};
pub(crate) use exchange::{Bar, Exchange, Fit, Shape};
pub(crate) use frames::{BitsView, FieldView, FrameOctets, FrameView, Tone};
pub(crate) use session::{SessionView, SettingView};
pub(crate) use signal::{Point, Signal};
pub(crate) use strangers::Stranger;

/// What a report shows.
#[derive(Clone, Copy, Debug, Default)]
pub struct Options {
    /// Whether the keys of the roster are shown. Whoever reads such a report can read and forge the
    /// frames of its nodes.
    pub show_keys: bool,
}

/// All that a report says.
#[derive(Debug)]
pub struct Report<'a> {
    pub(crate) about: About,
    pub(crate) gateways: &'a [GatewayDiagnosis],
    pub(crate) nodes: Vec<NodePage<'a>>,
    /// Nodes beyond those that a report has room for: they are listed, and no more.
    pub(crate) listed: Vec<(String, &'a Diagnosis)>,
    pub(crate) strangers: Vec<Stranger>,
    /// DevAddrs of data frames that are of no node known, the most frequent first.
    pub(crate) foreign: Vec<(DevAddr, u64)>,
    /// Requests of strangers and data frames of addresses that are too many to list.
    pub(crate) unlisted: (u64, u64),
    pub(crate) shows_keys: bool,
}

/// The capture as a whole.
#[derive(Debug)]
pub(crate) struct About {
    pub(crate) span: Option<(Timestamp, Timestamp)>,
    pub(crate) frames: u64,
    pub(crate) crc_bad: u64,
    /// Places at which something is damaged.
    pub(crate) damaged: usize,
    pub(crate) stray_accepts: usize,
    pub(crate) gateways: Vec<GatewayLine>,
}

impl About {
    /// Returns whether nothing at all was captured.
    pub(crate) const fn is_empty(&self) -> bool {
        self.frames == 0 && self.crc_bad == 0 && self.damaged == 0 && self.gateways.is_empty()
    }
}

/// A gateway that spoke.
#[derive(Debug)]
pub(crate) struct GatewayLine {
    pub(crate) eui: Option<Eui64>,
    pub(crate) name: Option<String>,
    pub(crate) frames: u64,
    pub(crate) crc_bad: u64,
    pub(crate) restarts: usize,
}

/// All that is said of one node.
#[derive(Debug)]
pub(crate) struct NodePage<'a> {
    pub(crate) diagnosis: &'a Diagnosis,
    pub(crate) name: String,
    /// Whether digits of keys may be shown.
    pub(crate) secrets: Secrets,
    pub(crate) members: Vec<Member>,
    pub(crate) exchanges: Vec<Exchange>,
    /// Requests and data frames of which the trace keeps the number alone.
    pub(crate) forgotten: (usize, usize),
    /// Attempts that are not drawn.
    pub(crate) more_attempts: usize,
    pub(crate) session: Option<SessionView>,
    pub(crate) channels: Option<Channels>,
    pub(crate) signal: Signal,
    pub(crate) frames: Vec<FrameView>,
    /// Frames that are not shown.
    pub(crate) more_frames: usize,
    pub(crate) ticket: String,
}

impl NodePage<'_> {
    /// Returns a fact in words that may be shown.
    pub(crate) fn words(&self, fact: &Fact) -> String {
        text(fact, self.secrets)
    }

    /// Returns what the report cannot show of a long capture, in words.
    pub(crate) fn forgotten(&self) -> Option<String> {
        let words = match self.forgotten {
            (0, 0) => return None,
            (0, frames) => Count(frames, "data frame").to_string(),
            (requests, 0) => Count(requests, "request").to_string(),
            (requests, frames) => {
                format!("{} and {}", Count(requests, "request"), Count(frames, "data frame"))
            }
        };
        Some(format!("of {words} no more than the number is kept"))
    }
}

/// Whatever the parts of a page look at.
#[derive(Clone, Copy)]
struct Subject<'a> {
    diagnosis: &'a Diagnosis,
    node: &'a NodeTrace,
    entry: Option<&'a Node>,
    roster: &'a Roster,
}

impl<'a> Report<'a> {
    /// Puts a report together. The diagnoses are those of this trace and roster.
    pub fn new(
        all: &'a [Diagnosis],
        trace: &'a Trace,
        roster: &'a Roster,
        options: Options,
    ) -> Self {
        let mut ring = KeyRing::default();
        ring.add_roster(roster);
        let subjects = all.iter().filter_map(|diagnosis| {
            let node = trace.nodes.get(diagnosis.place)?;
            let entry = node.index.and_then(|i| roster.nodes.get(i));
            Some(Subject { diagnosis, node, entry, roster })
        });
        let (strangers, known): (Vec<_>, Vec<_>) = subjects.partition(|s| s.diagnosis.stranger);
        let (told, listed) = room_for(known);
        let mut foreign: Vec<_> = trace.foreign_data.iter().map(|(addr, n)| (*addr, *n)).collect();
        foreign.sort_by_key(|(_, n)| std::cmp::Reverse(*n));
        Self {
            about: about(trace, roster),
            gateways: &[],
            nodes: told.into_iter().map(|subject| page(subject, trace, &ring, options)).collect(),
            listed: listed.iter().map(|s| (words::name(s.diagnosis), s.diagnosis)).collect(),
            strangers: strangers.iter().map(|subject| strangers::of(subject.node)).collect(),
            foreign,
            unlisted: (trace.strangers_more, trace.foreign_more),
            shows_keys: options.show_keys,
        }
    }

    /// Adds what is said of the gateways.
    #[must_use]
    pub const fn with_gateways(mut self, gateways: &'a [GatewayDiagnosis]) -> Self {
        self.gateways = gateways;
        self
    }
}

/// The nodes that are told of in full, and the others: with many, those with a fault go first.
fn room_for(mut all: Vec<Subject<'_>>) -> (Vec<Subject<'_>>, Vec<Subject<'_>>) {
    if all.len() > MOST_PAGES {
        all.sort_by_key(|subject| !subject.diagnosis.has_fault());
    }
    let listed = all.split_off(all.len().min(MOST_PAGES));
    (all, listed)
}

fn page<'a>(subject: Subject<'a>, trace: &Trace, ring: &KeyRing, options: Options) -> NodePage<'a> {
    let diagnosis = subject.diagnosis;
    let secrets = if options.show_keys { Secrets::Shown } else { Secrets::Hidden };
    let name = words::name(diagnosis);
    let (exchanges, more_attempts) = exchange::all(subject);
    let (frames, more_frames) = frames::all(subject, ring);
    NodePage {
        diagnosis,
        ticket: ticket::of(diagnosis, &name, secrets, subject.node),
        name,
        secrets,
        members: claims::of(subject, options),
        exchanges,
        forgotten: subject.node.forgotten(),
        more_attempts,
        session: session::of(subject, trace, secrets),
        channels: channels::of(subject),
        signal: signal::of(subject.node),
        frames,
        more_frames,
    }
}

fn about(trace: &Trace, roster: &Roster) -> About {
    let gateways = trace.gateways.iter().map(|(eui, gateway)| GatewayLine {
        eui: *eui,
        name: roster.gateways.iter().find(|g| Some(g.eui) == *eui).and_then(|g| g.name.clone()),
        frames: gateway.crc_good,
        crc_bad: gateway.crc_bad,
        restarts: gateway.restarts.len(),
    });
    About {
        span: trace.span,
        frames: trace.frames,
        damaged: trace.lacks.damaged.len(),
        crc_bad: trace.crc_bad,
        stray_accepts: trace.stray_accepts.len(),
        gateways: gateways.collect(),
    }
}

/// Nodes that are told of in full. A page is a hundred times as long as the frame that makes it:
/// a crowd of nodes must not make a file that no browser opens.
const MOST_PAGES: usize = 200;

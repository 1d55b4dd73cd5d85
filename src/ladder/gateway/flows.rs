//! How the two flows of a gateway stand: by token first, and by its own counts as a second witness.

use jiff::Timestamp;

use crate::{
    fact::{Cite, Fact, Value, fact},
    intake::{Leg, Speaker},
    trace::{
        ACKNOWLEDGED_WITHIN_US, Figures, Flow, GatewayTrace, Moment, NetworkError, OtherTokens,
    },
};

/// Datagrams without an acknowledgement before anything is said: UDP promises nothing, and one or two get lost.
const LEAST_LOST: u64 = 3;
/// Datagrams in a row without an acknowledgement, after others with one, that are no outage of seconds.
const LEAST_ROW: u64 = 5;
/// And for so long.
const LEAST_ROW_US: i64 = 60_000_000;
/// A share above this is that of a flow in which single datagrams get lost.
const NEARLY_ALL: f64 = 0.95;
/// Below so many datagrams a share says little.
const LEAST_SHARED: u64 = 20;
/// Reports over which a share is held against `ackr`.
const LEAST_REPORTS: u64 = 3;
/// Answers with another token by which one transformation is certain.
const LEAST_TOKENS: u64 = 3;

/// How a flow stands.
#[derive(Clone, Debug)]
pub(in crate::ladder) enum Answers {
    /// Nothing of it is in the capture.
    NotRecorded,
    /// Only the server's side is.
    ServerOnly,
    /// Too little is in the capture.
    TooFew,
    /// Nearly all is acknowledged.
    Acknowledged(Share),
    /// The gateway's side alone is in the capture, and by its own counts the server answers.
    Counted(Fact),
    /// No acknowledgement is in the capture, and the server answers uplinks all the same.
    Read(Fact),
    /// The gateway's side alone is in the capture, and nothing says whether the server answers.
    OneSided(Silence),
    /// Some acknowledgements are missing, and nothing says whether the gateway got them.
    Partly(Share),
    /// Nothing is acknowledged, or nothing any more.
    Never(Silence),
    /// Some is never acknowledged, and the gateway counts likewise.
    LostInPart(Share),
    /// All is acknowledged, and most of it later than the gateway waits.
    Late(Share),
    /// The acknowledgements carry other tokens.
    OtherTokens(Rule, OtherTokens),
    /// The server speaks another version of the protocol: the gateway's, and the server's.
    Versions(u8, u8),
    /// The acknowledgements come from an address that nothing was sent to.
    Astray(Share),
}

/// How much of a flow is acknowledged.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(in crate::ladder) struct Share {
    /// Datagrams, without those at the very end.
    pub(in crate::ladder) asked: u64,
    pub(in crate::ladder) answered: u64,
    /// Those that were acknowledged while the gateway waits.
    pub(in crate::ladder) in_time: u64,
    /// Microseconds from a datagram to its acknowledgement, in the middle.
    pub(in crate::ladder) median_us: Option<i64>,
    /// PUSH_DATA of the periods with an `ackr`, how many of it the gateway counts, and how many the capture shows
    /// in time.
    pub(in crate::ladder) ackr: (u64, f64, u64),
}

/// A flow without acknowledgements.
#[derive(Clone, Copy, Debug)]
pub(in crate::ladder) struct Silence {
    /// How many datagrams.
    pub(in crate::ladder) asked: u64,
    /// The first of them.
    pub(in crate::ladder) first: Option<Moment>,
    /// The last datagram that was acknowledged before; `None` where none ever was.
    pub(in crate::ladder) before: Option<Moment>,
    /// What says that it is not the recorder's fault.
    pub(in crate::ladder) witness: Witness,
}

/// Why silence in a capture is silence on the line.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(in crate::ladder) enum Witness {
    /// The gateway's own statistics, in so many reports: it got none either.
    Reports(u64),
    /// The server's other datagrams are in the capture.
    Server,
    /// The network says that the datagrams do not arrive.
    Network,
    /// Nothing.
    None,
}

/// What makes the token of an acknowledgement of that of its datagram.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(in crate::ladder) enum Rule {
    Swapped,
    Zero,
    Next,
    Before,
}

impl Rule {
    /// Returns it in words, after "the token of the datagram".
    pub(in crate::ladder) const fn words(self) -> &'static str {
        match self {
            Self::Swapped => "the token of their datagram with its two bytes swapped",
            Self::Zero => "token 0000",
            Self::Next => "one more than the token of their datagram",
            Self::Before => "the token of the datagram before",
        }
    }
}

impl Answers {
    /// Returns whether the server's acknowledgements are in the capture, or the gateway counts them.
    pub(in crate::ladder) const fn is_sound(&self) -> bool {
        matches!(self, Self::Acknowledged(_) | Self::Counted(_) | Self::Late(_))
    }

    /// Returns the silence, where something says that it is the line's.
    pub(in crate::ladder) const fn silence(&self) -> Option<&Silence> {
        match self {
            Self::Never(silence) => Some(silence),
            _ => None,
        }
    }

    /// Returns whether nothing can have come through at a place in time.
    pub(in crate::ladder) fn stops(&self, order: u64) -> bool {
        match self {
            Self::Never(silence) => silence.before.is_none_or(|before| order > before.line.order),
            Self::Versions(..) | Self::Astray(_) => true,
            _ => false,
        }
    }
}

impl Share {
    fn of(flow: &Flow, figures: &Figures, end: Option<Timestamp>) -> Self {
        Self {
            asked: flow.asked - flow.pending(end).min(flow.asked),
            answered: flow.answered,
            in_time: flow.in_time,
            median_us: flow.delays.median(),
            ackr: figures.ackr,
        }
    }

    /// Returns the share that is acknowledged, without one long row of losses, which is an outage.
    fn acknowledged(&self, outage: u64) -> f64 {
        ratio(self.answered, self.asked.saturating_sub(outage))
    }

    /// Returns `58 of 60 PUSH_DATA are acknowledged, in the middle after 0.03 s`.
    pub(in crate::ladder) fn fact(&self, datagrams: &'static str) -> Fact {
        let share = fact!(
            "{answered} of {asked} {datagrams} are acknowledged",
            answered = self.answered.min(self.asked),
            asked = self.asked,
            datagrams
        );
        match self.median_us {
            Some(us) => {
                fact!("{share}, in the middle after {delay}", share, delay = Value::About(us))
            }
            None => share,
        }
    }

    /// Returns whether the gateway counts about as many acknowledgements as the capture shows in time: one
    /// datagram a report may be counted a report later.
    fn agrees(&self) -> bool {
        let (_, counted, shown) = self.ackr;
        (counted - as_f64(shown)).abs() <= tolerance(self.ackr.0)
    }

    /// Returns whether the gateway counts more acknowledgements than the capture shows: the recorder lost some.
    fn gateway_counts_more(&self) -> bool {
        let (_, counted, shown) = self.ackr;
        counted - as_f64(shown) > tolerance(self.ackr.0)
    }
}

/// Judges PUSH_DATA and PUSH_ACK.
pub(super) fn up(heard: &GatewayTrace, figures: &Figures, end: Option<Timestamp>) -> Answers {
    let flow = &heard.push;
    let (some, none) = figures.acknowledged;
    if !flow.is_recorded() {
        return match (some, none) {
            // Statistics alone, as in a gateway's own log: each of them was pushed.
            (0, LEAST_LOST..) => Answers::Never(Silence {
                asked: none,
                first: heard.stats.first().map(|stat| Moment { line: stat.line, at: stat.at }),
                before: None,
                witness: Witness::Reports(none),
            }),
            (1.., _) if some > none => Answers::Counted(counts_acks(heard, some)),
            _ => Answers::NotRecorded,
        };
    }
    let share = Share::of(flow, figures, end);
    if let Some(answers) = odd(flow, &share, some) {
        return answers;
    }
    if flow.answered > 0 {
        return partly(heard, Leg::Push, share, end);
    }
    if some > none {
        return Answers::Counted(counts_acks(heard, some));
    }
    if flow.asked == 0 {
        return Answers::ServerOnly;
    }
    if let Some(fact) = downlinks_arrive(heard, figures) {
        return Answers::Read(fact);
    }
    if share.asked < LEAST_LOST {
        return Answers::TooFew;
    }
    let silence = Silence {
        asked: share.asked,
        first: flow.span.map(|(first, _)| first),
        before: None,
        witness: match none {
            _ if network_says(heard, flow) => Witness::Network,
            0 => Witness::None,
            none => Witness::Reports(none),
        },
    };
    if silence.witness == Witness::None {
        Answers::OneSided(silence)
    } else {
        Answers::Never(silence)
    }
}

/// Judges PULL_DATA and PULL_ACK.
pub(super) fn down(
    heard: &GatewayTrace,
    figures: &Figures,
    up: &Answers,
    end: Option<Timestamp>,
) -> Answers {
    let flow = &heard.pull;
    if !flow.is_recorded() {
        return Answers::NotRecorded;
    }
    let share = Share { ackr: (0, 0.0, 0), ..Share::of(flow, figures, end) };
    let taken = heard.orders.taken;
    if let Some(answers) = odd(flow, &share, taken) {
        return answers;
    }
    if flow.answered > 0 {
        return partly(heard, Leg::Pull, share, end);
    }
    if flow.asked == 0 {
        return Answers::ServerOnly;
    }
    if let Some(fact) = downlinks_arrive(heard, figures) {
        return Answers::Counted(fact);
    }
    if share.asked < LEAST_LOST {
        return Answers::TooFew;
    }
    let witness = match up {
        _ if network_says(heard, flow) => Witness::Network,
        Answers::Never(silence) if silence.before.is_none() => silence.witness,
        // The server's side is in the capture: it acknowledges the other flow.
        _ if heard.push.answered > 0 => Witness::Server,
        _ => Witness::None,
    };
    let first = flow.span.map(|(first, _)| first);
    let silence = Silence { asked: share.asked, first, before: None, witness };
    if witness == Witness::None { Answers::OneSided(silence) } else { Answers::Never(silence) }
}

/// What shows that downlinks reach the gateway, whatever the capture has of PULL_ACK.
fn downlinks_arrive(heard: &GatewayTrace, figures: &Figures) -> Option<Fact> {
    let dwnb = figures.dwnb.unwrap_or_default();
    let outcomes = heard.counts.outcomes;
    let answers = heard.orders.slots.total();
    if answers > 0 && outcomes == 0 {
        return Some(fact!(
            "{downlinks} answer its uplinks",
            downlinks = Value::Count(answers, "downlink")
        ));
    }
    if outcomes > 0 {
        return Some(fact!(
            "it acknowledges {downlinks}: they reach it",
            downlinks = Value::Count(outcomes, "downlink")
        ));
    }
    (dwnb > 0).then(|| {
        fact!(
            "its own statistics count {downlinks}: they reach it",
            downlinks = Value::Count(dwnb, "downlink")
        )
        .said_by(Speaker::Gateway)
    })
}

/// Answers that come, and are of no use to the gateway. `works` is how often something says that they are.
fn odd(flow: &Flow, share: &Share, works: u64) -> Option<Answers> {
    let all = |n: u64, of: u64| n >= LEAST_TOKENS && n * 10 >= of * 9;
    let others = flow.other_tokens;
    if works > 0 {
        return None;
    }
    let (ours, theirs) = flow.versions;
    if share.answered >= LEAST_LOST && theirs != 0 && ours & theirs == 0 {
        let version = |bits: u8| u8::try_from(bits.trailing_zeros()).unwrap_or_default();
        return Some(Answers::Versions(version(ours), version(theirs)));
    }
    if all(flow.astray, flow.answered) {
        return Some(Answers::Astray(*share));
    }
    if all(flow.behind, flow.answered) {
        return Some(Answers::OtherTokens(Rule::Before, others));
    }
    if share.answered > 0 {
        return None;
    }
    let rules =
        [(Rule::Swapped, others.swapped), (Rule::Zero, others.zero), (Rule::Next, others.next)];
    let rule = rules.into_iter().find(|(_, fits)| all(*fits, others.answers));
    rule.map(|(rule, _)| Answers::OtherTokens(rule, others))
}

/// Some is acknowledged: all, nearly all, a part, or all until some moment.
fn partly(heard: &GatewayTrace, leg: Leg, share: Share, end: Option<Timestamp>) -> Answers {
    let flow = if leg == Leg::Push { &heard.push } else { &heard.pull };
    let row = flow.since.count - flow.pending(end).min(flow.since.count);
    if let Some(silence) = stopped(heard, leg, row) {
        return Answers::Never(silence);
    }
    let outage = if flow.longest.count >= LEAST_ROW { flow.longest.count } else { 0 };
    let lost = share.asked.saturating_sub(share.answered);
    if lost >= 2 && share.acknowledged(outage) < NEARLY_ALL {
        let (asked, ..) = share.ackr;
        let told = heard.stats.total() as u64 > LEAST_REPORTS && asked >= LEAST_SHARED;
        return match told {
            true if share.gateway_counts_more() => Answers::Acknowledged(share),
            true if share.agrees() && share.asked >= LEAST_SHARED => Answers::LostInPart(share),
            _ => Answers::Partly(share),
        };
    }
    let (asked, counted, _) = share.ackr;
    let late = ratio(share.in_time, share.answered) < NEARLY_ALL;
    // Where the gateway waits longer it counts them all.
    if late && asked >= LEAST_LOST && share.agrees() && counted < as_f64(asked) * NEARLY_ALL {
        return Answers::Late(share);
    }
    Answers::Acknowledged(share)
}

/// A row of datagrams without an acknowledgement that goes on to the end of the capture.
fn stopped(heard: &GatewayTrace, leg: Leg, row: u64) -> Option<Silence> {
    let flow = if leg == Leg::Push { &heard.push } else { &heard.pull };
    let (first, before) = (flow.since.first?, flow.last_answered?);
    let (_, last) = flow.span?;
    let long = last.since(first).is_none_or(|us| us >= LEAST_ROW_US);
    if row < LEAST_ROW || !long {
        return None;
    }
    // What the gateway counts since then. A report speaks of the time before it.
    let since = heard.periods.iter().filter(|period| period.from.line >= first.line);
    let (some, none, dwnb) = since.fold((0, 0, 0), |(some, none, dwnb), period| {
        let told = period.told;
        let (more, less) = told.acknowledged;
        (some + more, none + less, dwnb + told.dwnb.unwrap_or_default())
    });
    let arrived = heard
        .orders
        .told
        .iter()
        .any(|order| order.fate.as_ref().is_some_and(|fate| fate.moment.line > first.line));
    let works = if leg == Leg::Push { some > 0 } else { dwnb > 0 || arrived };
    let witness = match none {
        _ if network_says(heard, flow) => Witness::Network,
        none @ 1.. if leg == Leg::Push => Witness::Reports(none),
        // The server's side of the flow was in the capture until then.
        _ => Witness::Server,
    };
    (!works).then_some(Silence { asked: row, first: Some(first), before: Some(before), witness })
}

/// What the network says of a flow that gets no answers.
pub(super) fn network_error<'a>(
    heard: &'a GatewayTrace,
    flow: &Flow,
    answers: &Answers,
) -> Option<&'a NetworkError> {
    let silence = answers.silence().filter(|silence| silence.witness == Witness::Network)?;
    let after = |error: &&NetworkError| {
        silence.before.is_none_or(|before| error.span.1.line.order > before.line.order)
    };
    errors_of(heard, flow).filter(after).max_by_key(|error| error.times)
}

/// Returns which errors of the network came, of whom, and when.
pub(in crate::ladder) fn unreachable(error: &NetworkError) -> Fact {
    fact!(
        "{errors} from {by} about datagrams from {from} to {to}, from {first} to {last}",
        errors = Value::Count(error.times, "ICMP error"),
        by = error.by.to_string(),
        from = error.from.to_string(),
        to = error.to.to_string(),
        first = error.span.0,
        last = error.span.1
    )
}

/// The errors that are about datagrams of this flow: its source, and a server that it sends to.
fn errors_of<'a>(heard: &'a GatewayTrace, flow: &Flow) -> impl Iterator<Item = &'a NetworkError> {
    let (sources, servers) = (flow.sources.clone(), flow.servers.clone());
    heard.unreachable.all().iter().filter(move |error| {
        sources.contains(&error.from) && servers.iter().any(|server| server.address == error.to)
    })
}

/// Whether the network says of a flow, now and to the end, that its datagrams do not arrive. A router or a host
/// says so of some of them only: one such packet is none of a fault.
fn network_says(heard: &GatewayTrace, flow: &Flow) -> bool {
    let now = |error: &&NetworkError| {
        flow.last_answered.is_none_or(|last| error.span.1.line.order > last.line.order)
    };
    errors_of(heard, flow).filter(now).map(|error| error.times).sum::<u64>() >= 2
}

fn counts_acks(heard: &GatewayTrace, reports: u64) -> Fact {
    let last = heard.stats.iter().rev().find(|stat| stat.stat.ackr.is_some_and(|ackr| ackr > 0.0));
    let fact = fact!(
        "its own statistics count acknowledgements, in {reports}; the server's side is not in the capture",
        reports = Value::Count(reports, "report")
    )
    .said_by(Speaker::Gateway);
    match last {
        Some(stat) => fact.at(Cite::from(Moment { line: stat.line, at: stat.at })),
        None => fact,
    }
}

impl Silence {
    /// Returns `none of 19 PUSH_DATA is acknowledged`, or since when.
    pub(in crate::ladder) fn fact(&self, datagrams: &'static str) -> Fact {
        match (self.before, self.first) {
            (Some(before), Some(first)) => fact!(
                "none of {asked} {datagrams} since {first} is acknowledged; the last that was is {before}",
                asked = self.asked,
                datagrams,
                first,
                before
            ),
            _ => {
                fact!("none of {asked} {datagrams} is acknowledged", asked = self.asked, datagrams)
            }
        }
    }

    /// Returns why the recorder is not to blame, where anything says so.
    pub(in crate::ladder) fn witness(&self) -> Option<Fact> {
        Some(match self.witness {
            Witness::Reports(reports) => fact!(
                "its own statistics say ackr 0.0 in {reports}: it gets no acknowledgement either",
                reports = Value::Count(reports, "report")
            )
            .said_by(Speaker::Gateway),
            Witness::Server => "other datagrams of the server are in the capture".into(),
            Witness::Network => "the network says that they do not arrive".into(),
            Witness::None => return None,
        })
    }
}

fn ratio(part: u64, of: u64) -> f64 {
    if of == 0 { 1.0 } else { as_f64(part) / as_f64(of) }
}

/// By how much the gateway's count and the capture's may differ: acknowledgements near the limit of its wait, and
/// datagrams counted a report later.
fn tolerance(asked: u64) -> f64 {
    (as_f64(asked) * 0.03).max(1.5)
}

#[expect(clippy::cast_precision_loss, reason = "datagrams of a capture are far below 2^53")]
const fn as_f64(n: u64) -> f64 {
    n as f64
}

/// How long a gateway waits for an acknowledgement.
pub(in crate::ladder) const fn waits() -> Value {
    Value::About(ACKNOWLEDGED_WITHIN_US)
}

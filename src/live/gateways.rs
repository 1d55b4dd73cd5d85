//! Every gateway's ladder while datagrams come: climbed again every few seconds.
//!
//! The tap is the server's port here: which port a gateway sends to says nothing of how it is set up for its
//! server, and is left out. Where the tap itself acknowledges, what it sends is what the server would.

use std::{
    collections::HashMap,
    time::{Duration, Instant},
};

use jiff::Timestamp;

use crate::{
    id::Eui64,
    intake::{Event, Leg, What},
    ladder::{self, CauseId, GatewayDiagnosis, GatewayOutcome},
    region::Plan,
    roster::Roster,
    trace::GatewayTracer,
};

/// How a gateway's ladder stands.
#[derive(Clone, Debug, Eq, PartialEq)]
pub struct GatewayStanding {
    /// How it stands.
    pub outcome: GatewayOutcome,
    /// The causes, by id.
    pub causes: Vec<CauseId>,
}

impl GatewayStanding {
    fn of(diagnosis: &GatewayDiagnosis) -> Self {
        let causes = diagnosis.causes.iter().map(|verdict| verdict.cause.id).collect();
        Self { outcome: diagnosis.outcome, causes }
    }
}

/// A gateway's ladder stands otherwise than before.
#[derive(Clone, Debug)]
pub struct GatewayChange {
    /// When.
    pub at: Timestamp,
    /// How it stood; `None` where nothing was known of it.
    pub before: Option<GatewayStanding>,
    /// How it stands.
    pub now: GatewayStanding,
    /// All that there is to say.
    pub diagnosis: GatewayDiagnosis,
}

/// The ladders of all gateways.
#[derive(Debug)]
pub(super) struct Gateways {
    /// Without nodes: of these there is nothing to say here.
    roster: Roster,
    plan: Option<&'static Plan>,
    /// Whether the tap acknowledges what gateways send.
    acknowledges: bool,
    tracer: GatewayTracer,
    standing: HashMap<Eui64, GatewayStanding>,
    /// Whether anything came since the last climb.
    due: bool,
    rest_until: Option<Instant>,
}

impl Gateways {
    pub(super) fn new(roster: &Roster, plan: Option<&'static Plan>, acknowledges: bool) -> Self {
        let roster = roster.without_nodes();
        let rest_until = Some(Instant::now() + EVERY);
        let (tracer, standing) = (GatewayTracer::default(), HashMap::new());
        Self { roster, plan, acknowledges, tracer, standing, due: false, rest_until }
    }

    /// Takes what came.
    pub(super) fn take(&mut self, event: &mut Event) {
        let ends = event.wire.ends.take();
        self.tracer.take(event);
        if let (What::Asked(leg), true) = (&event.what, self.acknowledges) {
            let leg: Leg = *leg;
            let answer = Event::new(event.place, What::Acknowledged(leg));
            let (time, gateway, wire) = (event.time, event.gateway, event.wire.clone());
            self.tracer.take(&Event { time, gateway, wire, found: event.found, ..answer });
        }
        event.wire.ends = ends;
        self.due = true;
    }

    /// Returns the gateways whose ladder stands otherwise than before, if it is time to look; with `last`, whatever
    /// the time.
    pub(super) fn climb(&mut self, now: Timestamp, last: bool) -> Vec<GatewayChange> {
        let clock = Instant::now();
        if !self.due || !last && self.rest_until.is_some_and(|until| clock < until) {
            return Vec::new();
        }
        self.due = false;
        let trace = self.tracer.trace();
        let options = ladder::Options { plan: self.plan, ..ladder::Options::default() };
        let found = ladder::judge(&trace, &self.roster, options).gateways;
        let mut changes = Vec::new();
        for diagnosis in found {
            // Which gateways of the roster were not heard is said apart.
            let Some(eui) = diagnosis.eui.filter(|eui| trace.gateways.contains_key(&Some(*eui)))
            else {
                continue;
            };
            let standing = GatewayStanding::of(&diagnosis);
            if self.standing.get(&eui) == Some(&standing) {
                continue;
            }
            let before = self.standing.insert(eui, standing.clone());
            changes.push(GatewayChange { at: now, before, now: standing, diagnosis });
        }
        // A quarter of the time at most, however many there are.
        self.rest_until = Some(Instant::now() + EVERY.max(clock.elapsed() * 3));
        changes
    }
}

/// Ladders of gateways are climbed no more often: what breaks them shows over seconds.
const EVERY: Duration = Duration::from_secs(3);

#[cfg(test)]
mod tests {
    use std::net::SocketAddr;

    use super::*;
    use crate::{
        intake::Header,
        live::{Board, Caught, Notice},
    };

    const EUI: Eui64 = Eui64::new([2, 0, 0, 0xFF, 0xFE, 0xEA, 0, 0x51]);

    /// Three minutes at a tap: PUSH_DATA and PULL_DATA every ten seconds, and what the server acknowledges.
    fn minutes(acknowledges: bool, answered: &[u8]) -> (Board, Vec<GatewayChange>) {
        let mut gateways = Gateways::new(&Roster::default(), None, acknowledges);
        let mut board = Board::default();
        let begin: Timestamp = "2026-03-02T08:00:00Z".parse().unwrap();
        let peer: SocketAddr = "192.0.2.7:40123".parse().unwrap();
        let mut number = 0;
        for n in 0..18u8 {
            for (kind, answer) in [(0, 1), (2, 4)] {
                let asked = [&[2, n, kind, kind][..], &EUI.octets()].concat();
                let asked =
                    if kind == 0 { [asked, b"{\"rxpk\":[]}".to_vec()].concat() } else { asked };
                let mut all = vec![asked];
                if answered.contains(&answer) {
                    all.push(vec![2, n, kind, answer]);
                }
                for (octets, later_ms) in all.into_iter().zip([0, 20]) {
                    let at =
                        begin + jiff::SignedDuration::from_millis(i64::from(n) * 10_000 + later_ms);
                    let header = Header::read(&octets).unwrap();
                    let octets = octets.into();
                    let caught =
                        Caught { at, peer, port: peer, header, gateway: Some(EUI), octets };
                    number += 1;
                    board.take(&Notice::Datagram(&caught));
                    for mut event in caught.events(number).unwrap() {
                        gateways.take(&mut event);
                        assert!(event.wire.ends.is_some(), "what others need is still there");
                    }
                }
            }
        }
        let changes = gateways.climb(begin, true);
        for change in &changes {
            board.take(&Notice::GatewayLadder(change));
        }
        assert!(gateways.climb(begin, true).is_empty(), "nothing came since");
        (board, changes)
    }

    #[test]
    fn a_flow_that_the_server_never_answers_is_a_fault_and_one_that_it_answers_is_none() {
        let (board, changes) = minutes(false, &[1]);
        let causes: Vec<_> = changes.iter().flat_map(|change| change.now.causes.clone()).collect();
        assert_eq!(causes, [CauseId::NoDownlinkPathToTheGateway]);
        assert!(board.has_fault());
        let (board, changes) = minutes(false, &[1, 4]);
        assert!(changes.iter().all(|change| change.now.causes.is_empty()) && !board.has_fault());
    }

    #[test]
    fn what_the_tap_itself_acknowledges_is_acknowledged() {
        let (board, changes) = minutes(true, &[]);
        assert_eq!(changes.len(), 1);
        assert!(!board.has_fault(), "{changes:?}");
    }
}

//! Turns: each new uplink with its transmissions, and the downlinks after it.

use crate::{
    frame::{DataFrame, Direction},
    trace::{Data, DataSeen, Line, Rule, Session},
};

/// A frame that comes late through another gateway is looked for among so many turns before.
const LATE: usize = 8;

/// A new uplink, its copies, and what was sent before the next new one.
#[derive(Clone, Debug, Default, Eq, PartialEq)]
pub struct Turn {
    /// The whole counter.
    pub fcnt: u32,
    /// Places of its transmissions: NbTrans, and repeats for want of an acknowledgement. Each opens
    /// windows of its own.
    pub sent: Vec<usize>,
    /// Places of the downlinks after it.
    pub downs: Vec<usize>,
    /// Uplinks that are missing before it, by the counter.
    pub missed: u32,
    /// Whether the counter fell, or one counter came with two contents: it was not counted on.
    pub fell: bool,
}

impl Turn {
    /// Returns the place of its first transmission.
    pub fn first(&self) -> usize {
        self.sent.first().copied().unwrap_or_default()
    }

    /// Returns whether it follows the uplink before without a gap.
    pub const fn follows(&self) -> bool {
        self.missed == 0 && !self.fell
    }
}

/// Whether two frames are copies of one uplink. In 1.1 the MIC of each copy has its own channel in it,
/// and differs (LoRaWAN 1.1, 4.4.2).
fn is_copy(a: &DataFrame, b: &DataFrame) -> bool {
    a.fcnt == b.fcnt
        && a.fopts == b.fopts
        && a.payload == b.payload
        && a.mhdr.ftype() == b.mhdr.ftype()
}

/// Returns the downlinks before the first uplink, and the turns.
pub(super) fn of(session: &Session) -> (Vec<usize>, Vec<Turn>) {
    let mut lead = Vec::new();
    let mut turns: Vec<Turn> = Vec::new();
    for (place, seen) in session.frames.iter().enumerate() {
        if let Data::Down { .. } = seen.data {
            match turns.last_mut() {
                Some(turn) => turn.downs.push(place),
                None => lead.push(place),
            }
            continue;
        }
        let frame = seen.data.frame();
        let same = |turn: &Turn| {
            let first = session.frames.get(turn.first());
            turn.fcnt == seen.held.fcnt && first.is_some_and(|f| is_copy(f.data.frame(), frame))
        };
        if let Some(turn) = turns.last_mut().filter(|turn| same(turn)) {
            turn.sent.push(place);
            continue;
        }
        let before = turns.last().map(|turn| turn.fcnt);
        let goes_back = before.is_some_and(|before| seen.held.fcnt <= before);
        // What comes late through a slow gateway, or is repeated by somebody, is no new uplink.
        if goes_back && turns.iter().rev().skip(1).take(LATE).any(same) {
            continue;
        }
        let missed = match before {
            Some(before) => seen.held.fcnt.saturating_sub(before).saturating_sub(1),
            None => 0,
        };
        turns.push(Turn {
            fcnt: seen.held.fcnt,
            sent: vec![place],
            downs: Vec::new(),
            missed,
            fell: goes_back,
        });
    }
    (lead, turns)
}

/// Which of a session's downlink counters a frame counts in: 1.1 has one for the network and one for
/// the application, 1.0.x one for both.
pub(crate) fn counter_of(session: &Session, seen: &DataSeen) -> usize {
    let of_1_1 = session.candidate_of(seen).is_some_and(|c| c.rule == Rule::V1_1);
    usize::from(of_1_1 && seen.data.frame().port().is_some_and(|port| port > 0))
}

/// Returns the turns from which on commands may have been missed: uplinks are missing there, and
/// downlinks too; or a downlink could not be read.
pub(super) fn holes(session: &Session, turns: &[Turn], unread: &[Line]) -> Vec<usize> {
    let mut out = Vec::new();
    // Of each counter: its last value, and the first turn with a gap since.
    let mut last: [Option<u32>; 2] = [None; 2];
    let mut gap: [Option<usize>; 2] = [None; 2];
    for (number, turn) in turns.iter().enumerate() {
        // A session that is in use when the capture begins has settings that nobody knows; that is the
        // start's business, and no hole.
        if turn.missed > 0 && number > 0 {
            for gap in &mut gap {
                *gap = gap.or(Some(number));
            }
        }
        for place in &turn.downs {
            let Some(seen) = session.frames.get(*place) else { continue };
            debug_assert_eq!(seen.data.frame().direction(), Direction::Downlink);
            let counter = counter_of(session, seen);
            let (Some(last), Some(gap)) = (last.get_mut(counter), gap.get_mut(counter)) else {
                continue;
            };
            let jumped = match *last {
                Some(before) => seen.held.fcnt > before.saturating_add(1),
                None => seen.held.fcnt > 0,
            };
            if let (true, Some(from)) = (jumped, gap.take()) {
                out.push(from);
            }
            *last = Some(seen.held.fcnt);
            *gap = None;
        }
    }
    for line in unread {
        let after = turns.partition_point(|turn| {
            session.frames.get(turn.first()).is_some_and(|seen| seen.data.line() < *line)
        });
        out.push(after);
    }
    out.sort_unstable();
    out.dedup();
    out
}

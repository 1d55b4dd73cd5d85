//! A cause at work, as found on one ladder.

use super::{
    cause::{Cause, Place},
    finding::Finding,
};
use crate::fact::{Certainty, Fact};

/// A cause that was found to be at work.
#[derive(Clone, Debug)]
pub struct Verdict {
    /// The cause.
    pub cause: &'static Cause,
    /// The ladder and rung that it breaks here.
    pub place: Place,
    /// How sure this is.
    pub certainty: Certainty,
    /// The probability that the evidence matches by chance: that a key or a rule found fits by
    /// accident. `None` where nothing was searched: what is read off numbers is no accident.
    pub false_match: Option<f64>,
    /// What is wrong, of this node or gateway.
    pub summary: Fact,
    /// What shows it.
    pub evidence: Vec<Fact>,
    /// What to do.
    pub remedy: Fact,
    /// Whether no rung breaks by it: all works, and it is wrong all the same.
    pub caution: bool,
    /// The sessions whose ladder it breaks, by their places in the node's; none for a cause of another
    /// ladder.
    pub sessions: Vec<usize>,
}

impl Verdict {
    pub(super) fn new(cause: &'static Cause, place: Place, finding: Finding) -> Self {
        let Finding { certainty, false_match, summary, evidence, remedy, caution } = finding;
        let sessions = Vec::new();
        Self { cause, place, certainty, false_match, summary, evidence, remedy, caution, sessions }
    }
}

/// What the network does not say is certain where nothing else is wrong: another fault may be why it
/// is silent.
fn soften_silence(found: &mut [Verdict]) {
    let told = found.iter().filter(|v| !v.caution && v.certainty != Certainty::Possible).count();
    for verdict in found.iter_mut().filter(|v| v.cause.is_silence() && told > 1) {
        verdict.certainty = verdict.certainty.max(Certainty::Likely);
    }
}

/// Puts causes in the contract's order, and leaves out what only says that nothing better was found
/// where something better was.
pub(super) fn ordered(mut found: Vec<Verdict>) -> Vec<Verdict> {
    // A gateway's fault explains the rung of the node that it carries, and those above.
    let height = |place: Place| place.carries().map_or(place, Place::Join);
    let firm: Vec<Place> = found
        .iter()
        .filter(|v| !v.cause.is_residual() && !v.caution)
        .map(|v| height(v.place))
        .collect();
    soften_silence(&mut found);
    found.retain(|v| !v.cause.is_residual() || !firm.iter().any(|place| *place <= v.place));
    // Places compare by ladder, then by rung. What breaks nothing does not lead.
    found.sort_by_key(|v| (v.caution, v.place, v.cause.is_residual(), v.certainty));
    let lowest = found.iter().find(|v| v.cause.is_residual()).map(|v| v.place);
    found.retain(|v| !v.cause.is_residual() || Some(v.place) == lowest);
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ladder::{CAUSES, CauseId, session};

    fn verdict(id: CauseId, certainty: Certainty) -> Verdict {
        Verdict {
            cause: CAUSES.iter().find(|cause| cause.id == id).unwrap(),
            place: Place::Session(session::Rung::Timely),
            certainty,
            false_match: None,
            summary: "a".into(),
            evidence: Vec::new(),
            remedy: "b".into(),
            caution: false,
            sessions: Vec::new(),
        }
    }

    fn order(found: Vec<Verdict>) -> Vec<CauseId> {
        ordered(found).iter().map(|verdict| verdict.cause.id).collect()
    }

    #[test]
    fn of_causes_on_one_rung_the_surer_leads_whatever_their_order_in_the_table() {
        let (one, other) =
            (CauseId::DownlinkOnTheWrongRx1Frequency, CauseId::DownlinkAtTheWrongRx1DataRate);
        for (first, second) in [(one, other), (other, one)] {
            let found =
                vec![verdict(first, Certainty::Likely), verdict(second, Certainty::Certain)];
            assert_eq!(order(found), [second, first]);
            let found =
                vec![verdict(first, Certainty::Possible), verdict(second, Certainty::Likely)];
            assert_eq!(order(found), [second, first]);
        }
    }

    #[test]
    fn what_breaks_nothing_does_not_lead() {
        let caution = CauseId::DownlinkOnTheWrongRx1Frequency;
        let broken = CauseId::DownlinkAtTheWrongRx1DataRate;
        let found = vec![
            Verdict { caution: true, ..verdict(caution, Certainty::Certain) },
            verdict(broken, Certainty::Possible),
        ];
        assert_eq!(order(found), [broken, caution]);
    }
}

//! Downlinks of a session: windows, class C, GPS time, addresses.

use crate::{
    fact::Certainty,
    frame::Direction,
    intake::{TxError, When},
    ladder::{
        finding::Finding,
        session::Case,
        words::{count, mhz, place, seconds},
    },
    roster::Class,
    trace::{Data, Sending, Session},
};

/// Slots this near to a window's are the same.
const SAME_US: u32 = 1_000;

fn downs(session: &Session) -> impl Iterator<Item = (&Sending, Option<u32>)> {
    session.frames.iter().filter_map(|seen| match &seen.data {
        Data::Down { sending, delay_us, .. } => Some((sending, *delay_us)),
        Data::Up { .. } => None,
    })
}

pub(in crate::ladder) fn delay_forgotten(case: &Case<'_>) -> Option<Finding> {
    for session in &case.node.sessions {
        let Some(accept) = case.accept_of(session) else { continue };
        let given = u32::from(accept.rx_delay.seconds());
        let fits = |us: u32, s: u32| us.abs_diff(s * 1_000_000) <= SAME_US;
        // RXTimingSetupReq may have changed it since; then the accept no longer counts.
        if session.frames.iter().any(|seen| sets_timing(seen.data.frame())) {
            continue;
        }
        // In class C a node listens on RX2 all the time.
        let rx2 = session_rx2_hz(case, session).or(case.plan.map(|plan| plan.rx2().freq_hz));
        let open = |sending: &Sending| is_class_c(case) && sending.freq_hz == rx2;
        let off: Vec<(&Sending, u32)> = downs(session)
            .filter_map(|(sending, us)| Some((sending, us?)))
            .filter(|(sending, _)| !open(sending))
            .filter(|(_, us)| *us <= 16_000_000 && !fits(*us, given) && !fits(*us, given + 1))
            .collect();
        let on = downs(session)
            .filter_map(|(_, us)| us)
            .filter(|us| fits(*us, given) || fits(*us, given + 1))
            .count();
        let Some((_, us)) = off.first() else { continue };
        let certainty =
            if off.len() >= 2 && on == 0 { Certainty::Certain } else { Certainty::Likely };
        let mut finding = Finding::new(
            certainty,
            format!(
                "the accept gives RxDelay {given} s; data downlinks are scheduled {} after the \
                 uplink, when the node does not listen",
                seconds(i64::from(*us))
            ),
            "have the server apply the RxDelay that it sent in the accept to the downlinks of that \
             session",
        );
        for (sending, us) in off.iter().take(4) {
            finding.add(format!(
                "{}: {us} us after the uplink; RX1 is at {given} s, RX2 at {} s",
                place(sending.line, sending.at),
                given + 1
            ));
        }
        if let Some(delay) = case.record().and_then(|r| r.rx1_delay) {
            finding.add(format!("the record's rx1-delay is {delay}"));
        }
        return Some(finding);
    }
    None
}

fn is_class_c(case: &Case<'_>) -> bool {
    let stated = case.record().and_then(|r| r.class).or(case.firmware().and_then(|f| f.class));
    stated == Some(Class::C)
}

fn sets_timing(frame: &crate::frame::DataFrame) -> bool {
    frame.direction() == Direction::Downlink
        && super::commands::in_clear(frame).commands.iter().any(|c| c.name() == "RXTimingSetupReq")
}

pub(in crate::ladder) fn no_gps(case: &Case<'_>) -> Option<Finding> {
    let refused: Vec<&Sending> = case
        .node
        .sessions
        .iter()
        .flat_map(downs)
        .map(|(sending, _)| sending)
        .chain(case.node.unverified.iter().filter_map(|data| match data {
            Data::Down { sending, .. } => Some(sending),
            Data::Up { .. } => None,
        }))
        .chain(case.answers().map(|(_, _, answer)| &answer.sending))
        .filter(|sending| sending.refusal() == Some(&TxError::GpsUnlocked))
        .collect();
    let first = refused.first()?;
    let mut finding = Finding::new(
        Certainty::Certain,
        "the gateway refuses downlinks timed by GPS: it has no GPS time",
        "give the gateway a GPS fix (antenna with a view of the sky, the right receiver settings), \
         or use class A or C downlinks until it has one",
    );
    for sending in refused.iter().take(4) {
        let when = match sending.when {
            When::Gps(ms) => format!("tmms {ms}"),
            _ => "no GPS time in it".to_owned(),
        };
        finding.add(format!("{}: {when}: GPS_UNLOCKED", place(sending.line, sending.at)));
    }
    finding.add(format!("{} refused", count(refused.len(), "timed downlink")));
    let _ = first;
    Some(finding)
}

pub(in crate::ladder) fn class_c(case: &Case<'_>) -> Option<Finding> {
    let plan = case.plan?;
    if !is_class_c(case) {
        return None;
    }
    for session in &case.node.sessions {
        let accept = case.accept_of(session);
        let dr = match accept {
            Some(accept) => Some(accept.dl_settings.rx2_data_rate()),
            None => case.firmware().and_then(|f| f.rx2_data_rate),
        };
        let want = match dr {
            Some(dr) => plan.dr(Direction::Downlink, dr)?,
            None => plan.rx2().modulation,
        };
        let want_hz = match accept {
            Some(_) => session_rx2_hz(case, session).unwrap_or(plan.rx2().freq_hz),
            None => case.firmware().and_then(|f| f.rx2_frequency).unwrap_or(plan.rx2().freq_hz),
        };
        if session.frames.iter().any(|seen| sets_rx2(seen.data.frame())) {
            continue;
        }
        let off: Vec<&Sending> = downs(session)
            .map(|(sending, _)| sending)
            .filter(|s| matches!(s.when, When::Immediate | When::Unsaid))
            .filter(|s| {
                s.modulation.is_some_and(|m| m != want)
                    || s.freq_hz.is_some_and(|hz| hz.abs_diff(want_hz) >= 1_000)
            })
            .collect();
        let Some(first) = off.first() else { continue };
        let got = first.modulation.map(|m| m.to_string()).unwrap_or_default();
        let mut finding = Finding::new(
            Certainty::Certain,
            format!(
                "class C downlinks go out on {} {got}; the node listens on the session's RX2, {} \
                 {want}",
                first.freq_hz.map(mhz).unwrap_or_default(),
                mhz(want_hz)
            ),
            "send class C downlinks with the session's RX2 (DLSettings of the accept, or the last \
             RXParamSetupReq that the node took), and only after the first uplink of the session",
        );
        for sending in off.iter().take(4) {
            finding.add(format!(
                "{}: {} {}",
                place(sending.line, sending.at),
                sending.freq_hz.map(mhz).unwrap_or_default(),
                sending.modulation.map(|m| m.to_string()).unwrap_or_default()
            ));
        }
        finding.add(match accept {
            Some(accept) => format!(
                "the accept's DLSettings give RX2DataRate {} ({want})",
                accept.dl_settings.rx2_data_rate()
            ),
            None => format!("RX2 of this session is {} {want}", mhz(want_hz)),
        });
        if let Some(dr) = case.record().and_then(|r| r.rx2_data_rate) {
            finding.add(format!("the record's rx2-data-rate is {dr}"));
        }
        return Some(finding);
    }
    None
}

/// RX2 of CN470's antenna plans depends on the join channel.
fn session_rx2_hz(case: &Case<'_>, session: &Session) -> Option<u32> {
    let crate::trace::Origin::Accept { attempt, .. } = session.origin else { return None };
    let hz = case.node.attempts.get(attempt)?.heard.best().freq_hz?;
    Some(case.plan?.join_rx2(hz).freq_hz)
}

fn sets_rx2(frame: &crate::frame::DataFrame) -> bool {
    frame.direction() == Direction::Downlink
        && super::commands::in_clear(frame).commands.iter().any(|c| c.name() == "RXParamSetupReq")
}

pub(in crate::ladder) fn foreign_address(case: &Case<'_>) -> Option<Finding> {
    let record = case.record()?;
    let claimed = case.firmware().and_then(|f| f.dev_addr);
    let given = case.node.sessions.iter().filter_map(|s| {
        let used = s.uplinks().next().is_some();
        let by_accept = case.accept_of(s).is_some();
        (used || by_accept).then_some(s.dev_addr)
    });
    let addr =
        given.chain(claimed).find(|addr| match (&record.dev_addr_prefix, record.net_id) {
            (Some(prefix), _) => !prefix.contains(*addr),
            (None, Some(net_id)) => !net_id.is_experimental() && net_id.owns(*addr).is_none(),
            (None, None) => false,
        })?;
    let range = match (&record.dev_addr_prefix, record.net_id) {
        (Some(prefix), _) => format!("the server serves {:08X}/{}", prefix.value(), prefix.bits()),
        (None, Some(net_id)) => format!("NetID {net_id} does not own it"),
        (None, None) => return None,
    };
    let mut finding = Finding::new(
        if record.dev_addr_prefix.is_some() { Certainty::Certain } else { Certainty::Likely },
        format!(
            "DevAddr {addr} is outside the server's range: its data is taken for another network's"
        ),
        "give the node a DevAddr of the server's own range, or let it join over the air",
    );
    finding.add(range);
    let owners: Vec<String> = addr.net_ids().take(3).map(|id| id.to_string()).collect();
    if !owners.is_empty() {
        finding.add(format!("the address belongs to NetID {}", owners.join(", ")));
    }
    Some(finding)
}

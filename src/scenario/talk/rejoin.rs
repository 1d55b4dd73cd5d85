//! Rejoin-Requests of type 0: the node asks in the middle of a session, and begins a new one.

use super::{Talk, speech::is_1_1};
use crate::{
    crypto::{
        cipher::{self, AcceptKey},
        derive::{self, SessionKeys},
        mic::{self, JoinReqType, RejoinKey},
    },
    frame::{DlSettings, FType, Frame, JoinAccept, Mhdr, Mic, RejoinBody, RejoinRequest, RxDelay},
    id::{DevNonce, JoinNonce, NetId},
    intake::When,
    key::{AppKey, NwkKey},
    scenario::{
        Mistake,
        air::OnAir,
        exchange::hear,
        gateway::{Heard, Order},
        life::{Ground, Life},
        node::Session,
    },
};

/// Lets the node send a Rejoin-Request where it is time for one; returns whether it did.
pub(super) fn turn(life: &mut Life, ground: &mut Ground, talk: &mut Talk, starts: u64) -> bool {
    let own = [Mistake::RejoinIgnored, Mistake::RejoinNotTaken, Mistake::RejoinCountBack];
    let wrong = own.iter().any(|mistake| life.makes(*mistake));
    let well = life.mistakes.is_empty() && life.whim.is_multiple_of(5) && talk.turn == 4;
    let due = if wrong { talk.turn > 1 && talk.turn.is_multiple_of(2) } else { well };
    if !due || !is_1_1(life) || !talk.confirmed {
        return false;
    }
    let Some(request) = request(life) else { return false };
    let Some((channel, modulation)) = talk.node.place(&mut life.dice) else { return false };
    let octets = Frame::RejoinRequest(request.clone()).build();
    let air = OnAir::new(octets, channel, modulation, starts);
    let heard = hear(life, ground, &air);
    let best = heard.iter().max_by_key(|h| (h.margin, std::cmp::Reverse(h.by))).copied();
    let Some(best) = best.filter(|_| !life.makes(Mistake::RejoinIgnored)) else { return true };
    if life.makes(Mistake::RejoinCountBack) && life.node.rejoins > 1 {
        // The server drops what it takes for a repeat.
        return true;
    }
    let Some((octets, session)) = accept(life, &request) else { return true };
    let order = order(life, ground, &best, octets);
    let taken = ground
        .gateways
        .get_mut(best.by)
        .is_some_and(|gateway| gateway.take(&mut ground.tape, &order));
    if taken && well {
        let sub_band = ground.gateways.get(best.by).and_then(|gateway| gateway.sub_band);
        begin(life, session, sub_band);
    }
    true
}

fn count(life: &mut Life) -> DevNonce {
    let own = life.node.rejoins;
    life.node.rejoins += 1;
    let again = life.makes(Mistake::RejoinCountBack) && own > 1;
    DevNonce(if again { 0 } else { own })
}

fn request(life: &mut Life) -> Option<RejoinRequest> {
    let count = count(life);
    let net_id = NetId::new(1)?;
    let body = RejoinBody::Network { keys_only: false, net_id, dev_eui: life.node.dev_eui, count };
    let mhdr = Mhdr::new(FType::RejoinRequest);
    let mut request = RejoinRequest { mhdr, body, surplus: Vec::new(), mic: Mic([0; 4]) };
    let SessionKeys::V1_1 { s_nwk_s_int_key, .. } = &life.node.session.as_ref()?.keys else {
        return None;
    };
    request.mic = mic::rejoin_request(RejoinKey::Session(s_nwk_s_int_key), &request);
    Some(request)
}

/// The accept, sealed, and the session that it begins.
fn accept(life: &mut Life, request: &RejoinRequest) -> Option<(Vec<u8>, Session)> {
    life.served.join_nonce += 1;
    let terms = &life.terms;
    let settings = 0x80 | terms.rx1_offset << 4 | terms.rx2_rate;
    let (cf_list, rx_delay) = (terms.cf_list, RxDelay(terms.rx_delay));
    let mut accept = JoinAccept {
        mhdr: Mhdr::new(FType::JoinAccept),
        join_nonce: JoinNonce::new(life.served.join_nonce & 0x00FF_FFFF)?,
        net_id: NetId::new(1)?,
        dev_addr: life.dev_addr(),
        dl_settings: DlSettings(settings),
        rx_delay,
        cf_list,
        mic: Mic([0; 4]),
    };
    let root = NwkKey::from(life.node.nwk_key.clone());
    let app = AppKey::from(life.node.app_key.clone());
    let (dev_eui, join_eui) = (life.node.dev_eui, life.node.join_eui);
    let nonce = request.body.count()?;
    let key = derive::js_int_key(&root, dev_eui);
    let answers = JoinReqType::Rejoin(request.body.rejoin_type());
    accept.mic = mic::join_accept_1_1(&key, answers, join_eui, nonce, &accept);
    let key = derive::js_enc_key(&root, dev_eui);
    let sealed = cipher::seal_join_accept(AcceptKey::rejoin(&key), &accept);
    let keys = derive::session_1_1(&root, Some(&app), accept.join_nonce, join_eui, nonce);
    let mut session = Session::new(accept.dev_addr, keys);
    session.accept = Some(accept);
    Some((Frame::JoinAccept(sealed).build(), session))
}

fn order(life: &Life, ground: &Ground, heard: &Heard, octets: Vec<u8>) -> Order {
    let plan = ground.plan;
    let rx2 = plan.join_rx2(heard.hz);
    let window = plan.rx1(heard.hz, heard.modulation, 0, false).unwrap_or(rx2);
    Order {
        octets,
        when: When::Counter(heard.tmst.wrapping_add(5_000_000)),
        slot: heard.ends + 5_000_000,
        hz: window.freq_hz,
        modulation: window.modulation,
        power_dbm: life.terms.power_dbm,
        inverted: true,
        arrives: heard.at + life.terms.takes_us,
    }
}

/// Lets both sides begin the new session.
fn begin(life: &mut Life, mut session: Session, sub_band: Option<u8>) {
    let before = life.node.session.as_ref();
    session.sent = before.map_or(0, |before| before.sent);
    let accept = session.accept.as_ref();
    session.channels =
        accept.map(|accept| life.node.channels_after(accept, sub_band)).unwrap_or_default();
    life.served.earlier.extend(life.served.session.replace(session.clone()));
    life.node.session = Some(session);
}

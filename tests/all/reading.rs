//! One frame read with keys: the worked examples of the two versions, right and wrong.

use handfast::{
    crypto::{
        block::{FOptsRule, UplinkContext},
        mic::JoinReqType,
    },
    frame::decode,
    key::Aes128Key,
    reading::{
        Context, CounterHint, Key, KeyRing, KeyRole, MicRule, MicVerdict, Reading, Searched,
        Source, Unchecked, Wrong, read,
    },
};

const APP_KEY: &str = "2B7E151628AED2A6ABF7158809CF4F3C";
const NWK_KEY: &str = "00112233445566778899AABBCCDDEEFF";
const REQUEST_1_0: &str = "00 01000BFEFF000002 3C2B1AFEFF000002 0201 2E269CF5";
const REQUEST_1_1: &str = "00 01000BFEFF000002 3C2B1AFEFF000002 0201 8AFBF774";
const ACCEPT_1_0: &str = "20D94ACFD06540984F241461506659C3AAADB5152AAFF250202FBA28E71693051D";
const ACCEPT_1_1: &str = "2052AF301BCA7BE931C662CDDA61CB6739";
const ACCEPT_OF_REJOIN: &str = "208DB08CAB02D8DEDD56A23FEA6EA304BC";
const UPLINK_1_0: &str = "40 DABB0102 80 0200 02 2721029D AEAF9EE9";
const DOWNLINK_1_0: &str = "60 DABB0102 A0 0500 00 7EFC0F41FE 4BD10617";
const UPLINK_1_1: &str = "40 DABB0102 22 0100 ED41 02 3B6C5DDA 8CDC0AEF";
const DOWNLINK_1_1: &str = "60 DABB0102 02 0000 AE01 D0EA01DE";
const DOWNLINK_1_1_ACK: &str = "60 DABB0102 21 0900 14 02 9A 08496394";
const REJOIN_0: &str = "C0 00 010000 3C2B1AFEFF000002 0100 623EFA5B";
const REJOIN_1: &str = "C0 01 01000BFEFF000002 3C2B1AFEFF000002 0100 3A1DAE15";

fn octets(text: &str) -> Vec<u8> {
    hex::decode(text.replace(' ', "")).unwrap()
}

fn key(role: KeyRole, text: &str) -> Key {
    role.of(text.parse::<Aes128Key>().unwrap())
}

fn ring(keys: &[(KeyRole, &str)]) -> KeyRing {
    let mut ring = KeyRing::default();
    for (role, text) in keys {
        ring.push(Source::default(), key(*role, text));
    }
    ring
}

fn session_1_0() -> KeyRing {
    ring(&[
        (KeyRole::NwkS, "4BFD96BCE7BDA8054D563C80486C0390"),
        (KeyRole::AppS, "4C4ADDCE1783C8B89B98C1B43AD17E09"),
    ])
}

fn session_1_1() -> KeyRing {
    ring(&[
        (KeyRole::FNwkSInt, "D7CBEEC26F99D59820EBB411DD1E4EEC"),
        (KeyRole::SNwkSInt, "AC70BCE4F43A128378AEB3702AEED5DD"),
        (KeyRole::NwkSEnc, "FAEBAE13DA4F4D4C1B1393C7A7A34C81"),
        (KeyRole::AppS, "24EC05F37545D6566A7B28941A197B3F"),
    ])
}

fn joined() -> Context {
    Context {
        dev_nonce: Some(handfast::id::DevNonce(0x0102)),
        join_eui: Some("020000FFFE0B0001".parse().unwrap()),
        dev_eui: Some("020000FFFE1A2B3C".parse().unwrap()),
        ..Context::default()
    }
}

fn reading(text: &str, ring: &KeyRing, context: &Context) -> Reading {
    read(decode(&octets(text)), ring, context)
}

fn proof(reading: &Reading) -> (&'static str, Option<MicRule>) {
    match &reading.found.mic {
        MicVerdict::Holds(proof) => (proof.key, proof.rule),
        other => panic!("{other:?}"),
    }
}

fn payload(reading: &Reading) -> String {
    hex::encode(&reading.found.payload.as_ref().unwrap().octets)
}

#[test]
fn a_join_request_names_the_key_that_signed_it() {
    let both = ring(&[(KeyRole::App, APP_KEY), (KeyRole::Nwk, NWK_KEY)]);
    let context = Context::default();
    assert_eq!(proof(&reading(REQUEST_1_0, &both, &context)).0, "AppKey");
    assert_eq!(proof(&reading(REQUEST_1_1, &both, &context)).0, "NwkKey");
    let one = ring(&[(KeyRole::App, APP_KEY)]);
    let failed = reading(REQUEST_1_1, &one, &context);
    let MicVerdict::Fails(tried) = &failed.found.mic else { panic!() };
    assert_eq!(tried[0].expected.hex(), "2e269cf5");
    assert!(failed.is_faulty());
}

#[test]
fn the_keys_of_other_nodes_prove_and_never_refute() {
    let context = Context::default();
    let other =
        Source { dev_eui: Some("020000FFFE000001".parse().unwrap()), ..Source::new("b", "record") };
    let mut ring = KeyRing::default();
    ring.push(other.clone(), key(KeyRole::App, NWK_KEY));
    let foreign = reading(REQUEST_1_0, &ring, &context);
    assert!(matches!(foreign.found.mic, MicVerdict::Unchecked(Unchecked::NoKey { .. })));
    ring.push(other, key(KeyRole::App, APP_KEY));
    let swapped = reading(REQUEST_1_0, &ring, &context);
    assert_eq!(proof(&swapped).0, "AppKey");
    assert!(matches!(swapped.problems[0].what, Wrong::OtherNode { .. }));
}

#[test]
fn a_join_accept_opens_and_gives_the_session() {
    let opened = reading(ACCEPT_1_0, &ring(&[(KeyRole::App, APP_KEY)]), &joined());
    assert_eq!(proof(&opened), ("AppKey", Some(MicRule::V1_0)));
    let accept = opened.found.accept.unwrap();
    assert_eq!(accept.accept.accept.net_id.hex(), "000001");
    let session = accept.session.unwrap();
    let keys: Vec<_> = session.named().into_iter().map(|(n, k)| (n, k.revealed())).collect();
    assert_eq!(keys[0], ("NwkSKey", "4bfd96bce7bda8054d563c80486c0390".into()));
    assert_eq!(keys[1], ("AppSKey", "4c4addce1783c8b89b98c1b43ad17e09".into()));
}

#[test]
fn a_join_accept_that_nothing_proves_stays_shut() {
    let shut = reading(ACCEPT_1_0, &ring(&[(KeyRole::App, NWK_KEY)]), &joined());
    assert!(matches!(&shut.found.mic, MicVerdict::Fails(tried) if tried.len() == 1));
    assert!(shut.found.accept.is_none() && shut.problems.is_empty());
}

#[test]
fn a_1_1_join_accept_asks_for_what_its_mic_covers() {
    let keys = ring(&[(KeyRole::Nwk, NWK_KEY), (KeyRole::App, APP_KEY)]);
    let lacking = reading(ACCEPT_1_1, &keys, &Context::default());
    let MicVerdict::Unchecked(why) = &lacking.found.mic else { panic!() };
    assert_eq!(why.to_string(), "next to NwkKey it needs DevEUI, JoinEUI and DevNonce");
    let opened = reading(ACCEPT_1_1, &keys, &joined());
    assert_eq!(proof(&opened), ("JSIntKey", Some(MicRule::V1_1)));
    let accept = opened.found.accept.unwrap();
    assert_eq!((accept.key, accept.answers), ("NwkKey", Some(JoinReqType::Join)));
    let session = accept.session.unwrap();
    let keys = session.named();
    assert_eq!(keys[3].1.revealed(), "24ec05f37545d6566a7b28941a197b3f");
}

#[test]
fn a_join_accept_that_answers_a_rejoin_opens_under_jsenckey() {
    let keys = ring(&[(KeyRole::Nwk, NWK_KEY)]);
    let context = Context { dev_nonce: Some(handfast::id::DevNonce(1)), ..joined() };
    let accept = reading(ACCEPT_OF_REJOIN, &keys, &context).found.accept.unwrap();
    assert_eq!((accept.key, accept.answers), ("JSEncKey", Some(JoinReqType::Rejoin(0))));
}

#[test]
fn optneg_against_the_rule_is_a_problem() {
    use handfast::{
        crypto::{cipher, mic},
        frame::{JoinAccept, Mic},
        key::AppKey,
    };
    let app_key: AppKey = APP_KEY.parse().unwrap();
    let clear = octets("20B2A100010000DABB0102830100000000");
    let mut accept: JoinAccept = JoinAccept::read_opened(&clear).unwrap().accept;
    accept.mic = Mic(mic::join_accept_1_0(&app_key, &accept).0);
    let sealed = cipher::seal_join_accept(cipher::AcceptKey::join(&app_key), &accept);
    let sealed = hex::encode([&[0x20], sealed.sealed.as_slice()].concat());
    let opened = reading(&sealed, &ring(&[(KeyRole::App, APP_KEY)]), &joined());
    assert_eq!(proof(&opened), ("AppKey", Some(MicRule::V1_0)));
    assert_eq!(opened.problems[0].offset, 11);
    assert_eq!(opened.problems[0].what, Wrong::OptNeg { rule: MicRule::V1_0 });
}

#[test]
fn the_upper_half_of_a_counter_is_found_or_given() {
    let context = Context::default();
    let searched = reading(UPLINK_1_0, &session_1_0(), &context);
    assert_eq!(searched.found.fcnt32, Some(0x0001_0002));
    assert_eq!(searched.found.searched, [Searched::UpperHalf { found: 1 }]);
    assert_eq!(payload(&searched), "016700e1");
    for hint in [1, 0x0001_0002] {
        let context = Context { fcnt: Some(CounterHint(hint)), ..Context::default() };
        let given = reading(UPLINK_1_0, &session_1_0(), &context);
        assert_eq!(given.found.fcnt32, Some(0x0001_0002));
        assert!(given.found.searched.is_empty() && given.problems.is_empty());
    }
    let context = Context { fcnt: Some(CounterHint(7)), ..Context::default() };
    let other = reading(UPLINK_1_0, &session_1_0(), &context);
    assert_eq!(other.problems[0].what, Wrong::CounterGiven { given: 7, found: 0x0001_0002 });
}

#[test]
fn a_downlink_on_port_0_decrypts_under_the_network_key() {
    let down = reading(DOWNLINK_1_0, &session_1_0(), &Context::default());
    assert_eq!((proof(&down).0, payload(&down)), ("NwkSKey", "0350070001".into()));
}

#[test]
fn a_1_1_uplink_is_proven_by_context_given_or_found() {
    let context =
        Context { conf_fcnt: Some(7), tx_dr: Some(5), tx_ch: Some(2), ..Context::default() };
    let given = reading(UPLINK_1_1, &session_1_1(), &context);
    assert_eq!(proof(&given), ("SNwkSIntKey+FNwkSIntKey", Some(MicRule::V1_1)));
    assert_eq!(given.found.fopts.as_ref().unwrap().octets, [0x0B, 0x01]);
    assert_eq!(given.found.fopts.as_ref().unwrap().rule, Some(FOptsRule::Erratum));
    assert_eq!(payload(&given), "016700e1");
    assert!(given.found.searched.is_empty());

    let context = Context { conf_fcnt: Some(7), tx_dr: Some(5), ..Context::default() };
    let searched = reading(UPLINK_1_1, &session_1_1(), &context);
    let found = UplinkContext { conf_fcnt: 7, tx_dr: 5, tx_ch: 2 };
    assert_eq!(searched.found.uplink_context, Some(found));
    assert!(matches!(searched.found.searched[..], [Searched::UplinkContext { tried: 192, .. }]));
}

#[test]
fn a_1_1_uplink_whose_conffcnt_is_unknown_is_half_proven() {
    let context = Context { tx_dr: Some(5), tx_ch: Some(2), ..Context::default() };
    let half = reading(UPLINK_1_1, &session_1_1(), &context);
    let MicVerdict::Unchecked(Unchecked::NoValue { missing, forwarding_half, .. }) =
        &half.found.mic
    else {
        panic!("{:?}", half.found.mic)
    };
    assert!(*forwarding_half && missing == &["ConfFCnt"]);
    assert!(!half.found.payload.unwrap().proven);
}

#[test]
fn one_integrity_key_alone_proves_half_an_uplink() {
    let alone = ring(&[(KeyRole::FNwkSInt, "D7CBEEC26F99D59820EBB411DD1E4EEC")]);
    let half = reading(UPLINK_1_1, &alone, &Context::default());
    let MicVerdict::Unchecked(why) = &half.found.mic else { panic!() };
    assert_eq!(
        why.to_string(),
        "bytes 3 and 4 of it hold under FNwkSIntKey; the others need SNwkSIntKey"
    );
}

#[test]
fn both_1_1_downlinks_hold_and_open() {
    let plain = reading(DOWNLINK_1_1, &session_1_1(), &Context::default());
    assert_eq!(proof(&plain), ("SNwkSIntKey", Some(MicRule::V1_1)));
    assert_eq!(plain.found.fopts.unwrap().octets, [0x0B, 0x01]);
    let context = Context { conf_fcnt: Some(1), ..Context::default() };
    let acknowledged = reading(DOWNLINK_1_1_ACK, &session_1_1(), &context);
    assert_eq!(acknowledged.found.conf_fcnt, Some(1));
    assert_eq!(acknowledged.found.fopts.as_ref().unwrap().octets, [0x06]);
    assert_eq!(acknowledged.found.fopts.as_ref().unwrap().rule, Some(FOptsRule::ErratumAppCounter));
    assert_eq!(payload(&acknowledged), "aa");
    let lacking = reading(DOWNLINK_1_1_ACK, &session_1_1(), &Context::default());
    assert!(matches!(lacking.found.mic, MicVerdict::Unchecked(Unchecked::NoValue { .. })));
}

#[test]
fn rejoin_requests_are_signed_by_two_different_keys() {
    let context = Context::default();
    assert_eq!(proof(&reading(REJOIN_0, &session_1_1(), &context)).0, "SNwkSIntKey");
    let root = ring(&[(KeyRole::Nwk, NWK_KEY)]);
    assert_eq!(proof(&reading(REJOIN_1, &root, &context)).0, "JSIntKey");
    let wanting = reading(REJOIN_0, &root, &context);
    assert!(matches!(wanting.found.mic, MicVerdict::Unchecked(Unchecked::NoKey { .. })));
}

#[test]
fn a_payload_key_alone_opens_without_proof() {
    let alone = ring(&[(KeyRole::AppS, "4C4ADDCE1783C8B89B98C1B43AD17E09")]);
    let context = Context { fcnt: Some(CounterHint(1)), ..Context::default() };
    let open = reading(UPLINK_1_0, &alone, &context);
    assert!(matches!(open.found.mic, MicVerdict::Unchecked(Unchecked::NoKey { .. })));
    assert!(!open.found.payload.as_ref().unwrap().proven);
    assert_eq!(payload(&open), "016700e1");
}

#[test]
fn a_payload_under_a_mic_that_fails_stays_shut() {
    let keys =
        ring(&[(KeyRole::NwkS, NWK_KEY), (KeyRole::AppS, "4C4ADDCE1783C8B89B98C1B43AD17E09")]);
    let shut = reading(UPLINK_1_0, &keys, &Context::default());
    assert!(matches!(shut.found.mic, MicVerdict::Fails(_)) && shut.found.payload.is_none());
}

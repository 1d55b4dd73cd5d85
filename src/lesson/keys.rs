//! Exercises about keys: which one signs, what one opens, what one is made of.

use super::{
    Answer, Given, Made, Question, Value,
    stage::{Stage, spaced},
};
use crate::{
    crypto::{
        cipher::{AcceptKey, open_encrypted_join_accept},
        derive::{self, SessionKeys},
        encrypt_block, mic,
    },
    frame::{
        DataFrame, Decoded, FType, Frame, JoinAccept, JoinRequest, MacVersion, Payload, decode,
    },
    id::DevAddr,
    key::{Aes128Key, AppKey, NwkSKey},
    reading::{self, Context, CounterHint, Key, KeyRing, MicVerdict, Opened, Source},
    scenario::Dice,
};

pub(super) fn which(dice: &mut Dice) -> Option<Made> {
    let stage = old_stage(dice)?;
    let decoded = &stage.first_heard(FType::JoinRequest)?.frame;
    let Some(Frame::JoinRequest(request)) = &decoded.frame else { return None };
    let own = stage.record()?.app_key.as_ref()?.key().clone();
    let keys = candidates(&own, dice);
    let letters = ["A", "B", "C"];
    let mut ring = KeyRing::default();
    for (letter, key) in letters.iter().zip(&keys) {
        ring.push(Source::new(letter, "key"), Key::App(key.clone().into()));
    }
    let holds = match reading::read(decoded.clone(), &ring, &Context::default()).found.mic {
        MicVerdict::Holds(proof) => proof.source.node?.to_string(),
        MicVerdict::Fails(_) => "none".to_owned(),
        MicVerdict::Unchecked(_) => return None,
    };
    let mut answer = Answer::new(Value::word(&holds));
    let mut working = vec![format!("the frame's MIC is {}", request.mic)];
    for (letter, key) in letters.iter().zip(&keys) {
        let made = mic::join_request(&AppKey::from(key.clone()), request);
        working.push(format!("under key {letter} it would be {made}"));
        let why =
            format!("under key {letter} the MIC would be {made}, the frame has {}", request.mic);
        answer = answer.unless(Value::word(*letter), why);
    }
    answer = answer.unless(Value::word("none"), format!("key {holds} does"));
    let among = letters.into_iter().chain(["none"]).map(str::to_owned);
    let mut question =
        Question::new("Which of the keys checks this frame's MIC?", answer).among(among);
    question.working = working;
    let mut given = vec![
        Given::words("A Join-Request of a 1.0.x node, and three keys that somebody found:"),
        Given::Octets(decoded.octets.clone()),
    ];
    given.extend(letters.iter().zip(&keys).map(|(l, key)| Given::key(format!("key {l}"), key)));
    given.push(tool("handfast read FRAME --app-key KEY"));
    Some(Made { given, questions: vec![question] })
}

pub(super) fn accept(dice: &mut Dice) -> Option<Made> {
    let stage = old_stage(dice)?;
    let decoded = &stage.first_sent(FType::JoinAccept)?.frame;
    let Some(Frame::JoinAccept(sealed)) = &decoded.frame else { return None };
    let key = stage.record()?.app_key.clone()?;
    let accept = opened(decoded, &key)?.accept.accept;
    let wrong = open_encrypted_join_accept(AcceptKey::join(&key), sealed).map(|o| o.accept);
    let aes = "you decrypted with AES; the server did that already: the node turns it round with AES encryption";
    let slip = |answer: Answer, of: fn(&JoinAccept) -> Value| match &wrong {
        Some(wrong) => answer.unless(of(wrong), aes),
        None => answer,
    };
    let address = |a: &JoinAccept| Value::Octets(a.dev_addr.0.to_be_bytes().to_vec());
    let delay = |a: &JoinAccept| Value::Number(a.rx_delay.seconds().into());
    let nonce = |a: &JoinAccept| Value::Number(a.join_nonce.get().into());
    let octets = accept.octets();
    let questions = vec![
        Question::new(
            "DevAddr that the node is given, as people write it:",
            slip(Answer::reversed("the DevAddr", &accept.dev_addr.0.to_be_bytes()), address),
        )
        .because(format!("in clear: {}", spaced(&octets)))
        .because("DevAddr is bytes 7-10, after MHDR, JoinNonce and NetID"),
        Question::new("JoinNonce, as a number (decimal, or hex after 0x):", {
            let [a, b, c] = accept.join_nonce.to_wire();
            let turned = u32::from_be_bytes([0, a, b, c]);
            slip(Answer::new(nonce(&accept)), nonce).unless(
                Value::Number(turned.into()),
                "you read JoinNonce as sent; it travels least significant byte first",
            )
        })
        .because("JoinNonce is bytes 1-3"),
        Question::new("How many seconds after an uplink does RX1 open from now on?", {
            slip(Answer::new(delay(&accept)), delay)
                .unless(Value::Number(5), "five seconds are for the Join-Accept itself")
        })
        .because(format!("RxDelay, byte 12, is {:02X}", accept.rx_delay.0)),
    ];
    let given = vec![
        Given::words("A Join-Accept for a 1.0.x node, as the gateway is to send it:"),
        Given::Octets(decoded.octets.clone()),
        Given::key("AppKey", key.key()),
        tool("handfast read FRAME --app-key KEY"),
    ];
    Some(Made { given, questions })
}

pub(super) fn session(dice: &mut Dice) -> Option<Made> {
    let stage = old_stage(dice)?;
    let key = stage.record()?.app_key.clone()?;
    let asked = &stage.first_heard(FType::JoinRequest)?.frame;
    let answered = &stage.first_sent(FType::JoinAccept)?.frame;
    let Some(Frame::JoinRequest(request)) = &asked.frame else { return None };
    let accept = opened(answered, &key)?.accept.accept;
    let data = &stage.heard().find(|heard| is_data(&heard.frame))?.frame;
    let keys = derive::session_1_0(&key, accept.join_nonce, accept.net_id, request.dev_nonce);
    let SessionKeys::V1_0 { nwk_s_key, app_s_key: Some(app_s_key) } = keys else { return None };
    let mut ring = KeyRing::default();
    ring.push(Source::default(), Key::NwkS(nwk_s_key.clone()));
    ring.push(Source::default(), Key::AppS(app_s_key.clone()));
    let read = reading::read(data.clone(), &ring, &Context::default());
    let clear = read.found.payload.filter(|plain| plain.proven)?.octets;
    let wrong = slips_of(&key, &accept, request);
    let of = |own: &Aes128Key, other: &Aes128Key, first: u8| {
        let octets = |key: &Aes128Key| Value::Octets(key.expose().to_vec());
        let block = derive::block_1_0(first, accept.join_nonce, accept.net_id, request.dev_nonce);
        let mut answer = Answer::new(octets(own)).unless(
            octets(other),
            "that is the other key: 01 begins the block of NwkSKey, 02 that of AppSKey",
        );
        for (why, make) in &wrong {
            answer = answer.unless(octets(&make(first)), *why);
        }
        (answer, format!("AES encryption under AppKey of {}", spaced(&block)))
    };
    let (nwk, nwk_block) = of(nwk_s_key.key(), app_s_key.key(), 1);
    let (app, app_block) = of(app_s_key.key(), nwk_s_key.key(), 2);
    let questions = vec![
        Question::new("NwkSKey:", nwk).because(nwk_block),
        Question::new("AppSKey:", app).because(app_block),
        Question::new("FRMPayload of the data frame in clear:", Answer::new(Value::Octets(clear)))
            .because("the key stream of AppSKey, exclusive or FRMPayload"),
    ];
    let given = vec![
        Given::words("A 1.0.x node has joined, and sends:"),
        Given::Octets(data.octets.clone()),
        Given::key("AppKey", key.key()),
        Given::value("DevNonce of the request", request.dev_nonce.to_string()),
        Given::value("JoinNonce of the accept", accept.join_nonce.get().to_string()),
        Given::value("NetID of the accept", accept.net_id.hex().to_uppercase()),
        tool("handfast keys --help"),
    ];
    Some(Made { given, questions })
}

pub(super) fn counter(dice: &mut Dice) -> Option<Made> {
    let key = NwkSKey::from(dice.key());
    let upper = dice.between(0, 3);
    let taken = upper << 16 | dice.between(0xFFE0, 0xFFFE);
    let next = taken + dice.between(2, 60);
    let [low, high, ..] = next.to_le_bytes();
    let fcnt = u16::from_le_bytes([low, high]);
    let dev_addr = DevAddr(0x0200_0000 | dice.below(0x0200_0000));
    let mut frame = DataFrame::new(FType::UnconfirmedDataUp, dev_addr, fcnt);
    frame.payload = Some(Payload { port: 2, frm: dice.key().get(..5)?.to_vec() });
    frame.mic = mic::data_1_0(&key, &frame, next);
    let decoded = decode(&Frame::Data(frame).build());
    let mut ring = KeyRing::default();
    ring.push(Source::default(), Key::NwkS(key.clone()));
    // The server's rule: the least counter above the last that ends in these 16 bits; the MIC agrees.
    let same = taken & !0xFFFF | u32::from(fcnt);
    let whole = if same > taken { same } else { same.checked_add(0x1_0000)? };
    let context = Context { fcnt: Some(CounterHint(whole)), ..Context::default() };
    let found = reading::read(decoded.clone(), &ring, &context).found;
    let whole = found.fcnt32.filter(|_| matches!(found.mic, MicVerdict::Holds(_)))?;
    let number = |n: u32| Value::Number(n.into());
    let answer = Answer::new(number(whole))
        .unless(
            number(fcnt.into()),
            "FCnt carries the low 16 bits only; both sides keep the upper half",
        )
        .unless(
            number(same),
            "that is below the last one accepted: the low half has turned over since",
        )
        .unless(
            number(fcnt.swap_bytes().into()),
            "you read FCnt as sent, and it is the low half only",
        );
    let missed = whole - taken - 1;
    let questions = vec![
        Question::new("The full counter under which the MIC holds:", answer).because(format!(
            "the least counter above {taken} whose low half is {fcnt} (0x{fcnt:04X}): 0x{whole:08X}"
        )),
        Question::new(
            "How many frames were lost in between?",
            Answer::new(number(missed)).unless(
                number(missed + 1),
                "that is the difference; this frame itself is not lost",
            ),
        )
        .because(format!("{whole} - {taken} - 1")),
    ];
    let given = vec![
        Given::words("A 1.0.x node sends:"),
        Given::Octets(decoded.octets),
        Given::key("NwkSKey", key.key()),
        Given::value("last counter that the server accepted", taken.to_string()),
        tool("handfast read FRAME --nwk-s-key KEY --fcnt COUNTER"),
    ];
    Some(Made { given, questions })
}

/// A scene of a 1.0.x node.
fn old_stage(dice: &mut Dice) -> Option<Stage> {
    let version = dice.pick(&[MacVersion::V1_0_2, MacVersion::V1_0_3, MacVersion::V1_0_4])?;
    Stage::new(dice, "EU868", |probe| probe.version = version)
}

fn is_data(decoded: &Decoded) -> bool {
    matches!(&decoded.frame, Some(Frame::Data(data)) if data.payload.is_some())
}

fn opened(decoded: &Decoded, key: &AppKey) -> Option<Opened> {
    let mut ring = KeyRing::default();
    ring.push(Source::default(), Key::App(key.clone()));
    reading::read(decoded.clone(), &ring, &Context::default()).found.accept
}

/// Three keys: the right one, unless the dice hold it back, among others that look like it.
fn candidates(own: &Aes128Key, dice: &mut Dice) -> Vec<Aes128Key> {
    let mut reversed = *own.expose();
    reversed.reverse();
    let mut slipped = *own.expose();
    let place = dice.below(16) as usize;
    slipped.iter_mut().skip(place).take(1).for_each(|octet| *octet ^= 0x10);
    let stranger = dice.key();
    let mut keys = vec![reversed, slipped];
    if dice.once_in(4) {
        keys.push(stranger);
    } else {
        keys.insert(dice.below(3) as usize, *own.expose());
    }
    keys.into_iter().map(Aes128Key::new).collect()
}

type Derivation<'a> = Box<dyn Fn(u8) -> Aes128Key + 'a>;

/// Derivations that go wrong, each with what was done.
fn slips_of<'a>(
    key: &'a AppKey,
    accept: &'a JoinAccept,
    request: &'a JoinRequest,
) -> Vec<(&'static str, Derivation<'a>)> {
    let turned = move |first: u8| {
        let mut block = [0u8; 16];
        let [_, join @ ..] = accept.join_nonce.get().to_be_bytes();
        let [_, net @ ..] = accept.net_id.get().to_be_bytes();
        let nonce = request.dev_nonce.0.to_be_bytes();
        let octets = [first].into_iter().chain(join).chain(net).chain(nonce);
        block.iter_mut().zip(octets).for_each(|(to, octet)| *to = octet);
        Aes128Key::new(encrypt_block(key.key(), block))
    };
    vec![(
        "you filled the block most significant byte first; each field is in it as it travels",
        Box::new(turned),
    )]
}

fn tool(command: &str) -> Given {
    Given::words(format!("By hand with an AES block cipher, or with `{command}`."))
}

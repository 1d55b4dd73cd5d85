//! Exercises about the octets of a frame: what stands where, and in which order.

use super::{
    Answer, Given, Made, Question, Value,
    stage::{Stage, spaced},
};
use crate::{
    frame::{
        DataFrame, Decoded, Direction, FCtrl, FOpts, FType, Field, Frame, MacVersion, Mhdr,
        Payload, command, decode,
    },
    id::{DevAddr, DevEui, Eui64, NetId, NetIdType, Reading},
    scenario::Dice,
};

pub(super) fn header(dice: &mut Dice) -> Option<Made> {
    let version = dice.pick(&[MacVersion::V1_0_3, MacVersion::V1_0_4, MacVersion::V1_1])?;
    let stage = Stage::new(dice, "EU868", |probe| probe.version = version)?;
    let frames: Vec<&Decoded> = stage
        .heard()
        .map(|heard| &heard.frame)
        .filter(|decoded| matches!(decoded.frame, Some(Frame::Data(_))))
        .collect();
    let decoded = dice.pick(&frames)?;
    let Some(Frame::Data(data)) = &decoded.frame else { return None };
    let payload = data.payload.as_ref()?;
    let questions = vec![
        message(data.mhdr),
        address(data.dev_addr),
        number("FCnt, as a number", "FCnt", data.fcnt.to_be_bytes(), decoded, Field::FCnt),
        Question::new("FPort:", Answer::new(Value::Number(payload.port.into())))
            .because(stands(decoded, Field::FPort)?),
        length(decoded, payload)?,
    ];
    Some(Made { given: heard(&decoded.octets), questions })
}

pub(super) fn join_request(dice: &mut Dice) -> Option<Made> {
    let stage = Stage::new(dice, "EU868", |_| {})?;
    let decoded = &stage.first_heard(FType::JoinRequest)?.frame;
    let Some(Frame::JoinRequest(request)) = &decoded.frame else { return None };
    let (join, dev) = (request.join_eui.0.octets(), request.dev_eui.0.octets());
    let exchanged = "these are the bytes of the other EUI: JoinEUI travels first, DevEUI second";
    let eui = |name: &str, own: [u8; 8], other: [u8; 8], field| {
        let back = |octets: [u8; 8]| octets.iter().rev().copied().collect::<Vec<u8>>();
        let answer = Answer::reversed(&format!("the {name}"), &own)
            .unless(Value::Octets(other.to_vec()), exchanged)
            .unless(Value::Octets(back(other)), format!("{exchanged}; and they travel in reverse"));
        Some(
            Question::new(format!("{name}, as people write it:"), answer)
                .because(stands(decoded, field)?),
        )
    };
    let nonce = request.dev_nonce.0.to_be_bytes();
    let questions = vec![
        message(request.mhdr),
        eui("JoinEUI", join, dev, Field::JoinEui)?,
        eui("DevEUI", dev, join, Field::DevEui)?,
        number("DevNonce, as a number", "DevNonce", nonce, decoded, Field::DevNonce),
    ];
    Some(Made { given: heard(&decoded.octets), questions })
}

pub(super) fn message_type(dice: &mut Dice) -> Option<Made> {
    let mut octets: Vec<u8> = Vec::new();
    while octets.len() < 3 {
        let mhdr = u8::try_from(dice.below(7) << 5).ok()?;
        if !octets.contains(&mhdr) {
            octets.push(mhdr);
        }
    }
    let first = octets.first().copied().map(Mhdr)?;
    let mut questions: Vec<Question> = octets
        .iter()
        .map(|octet| {
            let mut question = message(Mhdr(*octet));
            question.ask = format!("Which message begins with MHDR {octet:02X}?");
            question
        })
        .collect();
    let is_up = first.ftype().direction()? == Direction::Uplink;
    let (word, other) = if is_up { ("up", "down") } else { ("down", "up") };
    let also = if is_up { ["uplink"] } else { ["downlink"] };
    let right = Value::Word { word: word.into(), also: also.map(str::to_owned).to_vec() };
    questions.push(
        Question::new(
            format!("Does the frame of MHDR {:02X} travel up or down?", first.0),
            Answer::new(right),
        )
        .among([word.min(other), word.max(other)].map(str::to_owned))
        .because(format!(
            "MHDR {:02X} is {}: it travels {word}",
            first.0,
            first.ftype().title()
        )),
    );
    let given = vec![Given::words(
        "MHDR is the first byte of every frame: the message type in bits 7 to 5, Major in bits 1 and 0.",
    )];
    Some(Made { given, questions })
}

pub(super) fn frame_control(dice: &mut Dice) -> Option<Made> {
    let up = dice.once_in(2);
    let ftype = if up { FType::UnconfirmedDataUp } else { FType::UnconfirmedDataDown };
    // LinkADRAns, DevStatusAns, LinkCheckReq going up; their kin coming down.
    let choices: [&[u8]; 4] = if up {
        [&[], &[0x02], &[0x03, 0x07], &[0x06, 0xFF, 0x0A]]
    } else {
        [&[], &[0x06], &[0x02, 0x14, 0x01], &[0x08, 0x05]]
    };
    let opts = dice.pick(&choices)?;
    let mut frame = DataFrame::new(ftype, orchard(dice), u16::try_from(dice.below(0x4000)).ok()?);
    let flags: &[u8] = if up {
        &[0x00, 0x80, 0xA0, 0x20, 0xC0, 0x90]
    } else {
        &[0x00, 0x80, 0x20, 0x30, 0xB0, 0x10]
    };
    frame.fctrl = FCtrl::new(dice.pick(flags)?);
    frame.fopts = FOpts::new(opts)?;
    frame.payload = Some(Payload { port: 2, frm: dice.key().get(..4)?.to_vec() });
    frame.mic.0.copy_from_slice(dice.key().get(..4)?);
    let decoded = decode(&Frame::Data(frame).build());
    let Some(Frame::Data(data)) = &decoded.frame else { return None };

    let octet = *decoded.octets_of(Field::FCtrl)?.first()?;
    let names = flags_of(data);
    let bit = |name: &&str| data.direction() == Direction::Uplink || *name != "ADRACKReq";
    let among = flag_names(data.direction()).into_iter().filter(bit);
    let set = Value::Set(names.iter().map(|name| (*name).to_owned()).collect());
    let mut flags = Answer::new(set);
    flags = flags.unless(
        Value::Set(flags_of_bits(octet << 4, data.direction())),
        "these are bits 3 to 0, which are FOptsLen; the flags are bits 7 to 4",
    );
    let at = decoded.fields().place_of(Field::FPort)?.start;
    let past = Value::Number(8);
    let questions = vec![
        Question::new("Which flags of FCtrl are set? (or: none)", flags)
            .among(among.map(str::to_owned))
            .because(format!(
                "FCtrl is {octet:02X}: bits 7 to 4 are {:04b}, the flags",
                octet >> 4
            )),
        Question::new(
            "FOptsLen:",
            Answer::new(Value::Number(data.fopts.len().into()))
                .unless(
                    Value::Number(octet.into()),
                    "that is all of FCtrl; FOptsLen is its low half",
                )
                .unless(
                    Value::Number((octet >> 4).into()),
                    "that is the high half of FCtrl, the flags; FOptsLen is the low half",
                ),
        )
        .because(format!("bits 3 to 0 of FCtrl {octet:02X} are {:04b}", octet & 0x0F)),
        Question::new(
            "At which byte is FPort, MHDR being byte 0?",
            Answer::new(Value::Number(u64::try_from(at).ok()?))
                .unless(past, "that is where FOpts begins; FPort comes after its last byte")
                .unless(
                    Value::Number(u64::try_from(at).ok()? + 1),
                    "you counted from 1; MHDR is byte 0",
                ),
        )
        .because(format!("MHDR 1, DevAddr 4, FCtrl 1, FCnt 2, FOpts {}", data.fopts.len())),
    ];
    Some(Made { given: heard(&decoded.octets), questions })
}

pub(super) fn wire_order(dice: &mut Dice) -> Option<Made> {
    let eui = DevEui(Eui64::new([
        2,
        0,
        0,
        0xFF,
        0xFE,
        u8::try_from(dice.between(0x10, 0xDF)).ok()?,
        u8::try_from(dice.below(0x100)).ok()?,
        u8::try_from(dice.between(1, 0xFE)).ok()?,
    ]));
    let (addr, nonce) = (orchard(dice), u16::try_from(dice.between(0x0101, 0x7FFF)).ok()?);
    let order =
        |name: &str, sent: Vec<u8>, written: Vec<u8>| {
            let answer = Answer::new(Value::Octets(sent.clone())).unless(
            Value::Octets(written.clone()),
            format!(
                "this is how people write {name}; on the air the least significant byte goes first"
            ),
        );
            Question::new(format!("The bytes of {name}, in the order sent:"), answer)
                .because(format!("{} is sent as {}", spaced(&written), spaced(&sent)))
        };
    let written = nonce.to_be_bytes().to_vec();
    let questions = vec![
        order("the DevEUI", eui.to_wire().to_vec(), eui.0.octets().to_vec()),
        order("the DevAddr", addr.to_wire().to_vec(), addr.0.to_be_bytes().to_vec()),
        order("the DevNonce", nonce.to_le_bytes().to_vec(), written),
    ];
    let given = vec![
        Given::value("DevEUI", eui.0.to_string()),
        Given::value("DevAddr", addr.to_string()),
        Given::value("DevNonce", format!("{nonce} (0x{nonce:04X})")),
    ];
    Some(Made { given, questions })
}

pub(super) fn network(dice: &mut Dice) -> Option<Made> {
    let net_id_type = dice.pick(&[0u32, 0, 3, 6])?;
    // A sheet names no operator: of type 0 the two NetIDs for experiments, of the others the end of
    // a space that is given out from its beginning (common practice).
    let id = match net_id_type {
        0 => dice.below(2),
        _ => (1 << 21) - 1 - dice.below(1 << 8),
    };
    let net_id = NetId::new(net_id_type << 21 | id)?;
    let block = net_id.block(Reading::Current)?;
    let inside = dice.once_in(2);
    let own = block.first().0 | dice.below(1 << (32 - block.prefix_len()).min(16));
    let addr = DevAddr(if inside { own } else { own ^ 1 << (32 - block.prefix_len()) });
    let parts = addr.parts()?;
    let kind = NetIdType::of(net_id);
    let seven = u64::from(addr.top_seven_bits());
    let nwk_id = Answer::new(Value::Number(parts.nwk_id.into())).unless(
        Value::Number(seven),
        "these are the seven highest bits, the rule of 1.0.x; here the prefix is longer or counts too",
    );
    let may = block.contains(addr);
    let questions = vec![
        Question::new(
            "The type that the address's prefix shows, 0 to 7:",
            Answer::new(Value::Number(parts.net_id_type.number.into())),
        )
        .because(format!(
            "{addr} begins with {} and then a zero",
            crate::words::Count(parts.net_id_type.number.into(), "one")
        )),
        Question::new("NwkID, as a number:", nwk_id).because(format!(
            "{} bits of prefix, then {} bits of NwkID in {:032b}",
            parts.net_id_type.prefix_bits, parts.net_id_type.nwk_id_bits, addr.0
        )),
        Question::new(
            format!(
                "May the network of NetID {} give out this address?",
                net_id.hex().to_uppercase()
            ),
            Answer::new(Value::yes(may)),
        )
        .among(["yes", "no"].map(str::to_owned))
        .because(format!(
            "NetID {} is of type {}, its NwkID is {}: its addresses are {} to {}",
            net_id.hex().to_uppercase(),
            kind.number,
            net_id.nwk_id(),
            block.first(),
            block.last()
        )),
    ];
    let given = vec![Given::value("DevAddr", addr.to_string())];
    Some(Made { given, questions })
}

pub(super) fn mac_commands(dice: &mut Dice) -> Option<Made> {
    let version = MacVersion::V1_0_4;
    let direction = if dice.once_in(2) { Direction::Uplink } else { Direction::Downlink };
    let rows: Vec<&command::Row> = command::ROWS
        .iter()
        .filter(|row| row.direction == direction && row.is_in(Some(version)) && row.cid <= 0x0A)
        .collect();
    let mut octets = Vec::new();
    for _ in 0..dice.between(2, 3) {
        let row = dice.pick(&rows)?;
        let random = dice.key();
        octets.push(row.cid);
        octets.extend(random.iter().take(row.length.needed(&random)).map(|octet| octet & 0x33));
    }
    let list = command::decode(&octets, direction, Some(version));
    if list.trailing.is_some() || octets.len() > 15 {
        return None;
    }
    let names: Vec<String> = list.commands.iter().map(|c| c.name().to_owned()).collect();
    let other = match direction {
        Direction::Uplink => Direction::Downlink,
        Direction::Downlink => Direction::Uplink,
    };
    let turned = command::decode(&octets, other, Some(version));
    let turned = turned.commands.iter().map(|c| c.name().to_owned()).collect();
    let answer = Answer::new(Value::List(names)).unless(
        Value::List(turned),
        "you read them as going the other way: the same CID asks in one direction and answers in the other",
    );
    let mut ask = Question::new("The names of the MAC commands, in order:", answer);
    for command in &list.commands {
        ask = ask.because(format!("{}: {}", spaced(&command.octets), command.name()));
    }
    let way = if direction == Direction::Uplink { "sent by a node" } else { "sent to a node" };
    let count = Answer::new(Value::Number(u64::try_from(octets.len()).ok()?));
    let questions = vec![
        ask,
        Question::new("FOptsLen of the frame that carries them:", count)
            .because("FOptsLen counts bytes, not commands"),
    ];
    let given = vec![
        Given::words(format!("FOpts of a LoRaWAN {} frame, {way}:", version.name())),
        Given::Octets(octets),
    ];
    Some(Made { given, questions })
}

fn heard(octets: &[u8]) -> Vec<Given> {
    vec![
        Given::words(format!("The radio gives a frame of {} bytes:", octets.len())),
        Given::Octets(octets.to_vec()),
    ]
}

fn message(mhdr: Mhdr) -> Question {
    let all = [0u8, 1, 2, 3, 4, 5, 6, 7].map(|n| Mhdr(n << 5).ftype().title().to_owned());
    let right = Value::word(mhdr.ftype().title());
    let mut answer = Answer::new(right);
    let low = Mhdr(mhdr.0 << 5);
    answer = answer.unless(
        Value::word(low.ftype().title()),
        "you took the low bits; the message type is in bits 7 to 5, the highest three",
    );
    for n in 0..8u8 {
        let other = Mhdr(n << 5).ftype();
        let why = format!("{} begins with MHDR {:02X}", other.title(), n << 5);
        answer = answer.unless(Value::word(other.title()), why);
    }
    Question::new("Which message is it?", answer).among(all).because(format!(
        "MHDR is {:02X}: bits 7 to 5 are {:03b}",
        mhdr.0,
        mhdr.0 >> 5
    ))
}

fn address(addr: DevAddr) -> Question {
    let octets = addr.0.to_be_bytes();
    Question::new("DevAddr, as people write it:", Answer::reversed("the DevAddr", &octets)).because(
        format!("bytes 1-4 as sent are {}, least significant first", spaced(&addr.to_wire())),
    )
}

fn number(ask: &str, name: &str, octets: [u8; 2], decoded: &Decoded, field: Field) -> Question {
    let (right, turned) = (u16::from_be_bytes(octets), u16::from_le_bytes(octets));
    let answer = Answer::new(Value::Number(right.into())).unless(
        Value::Number(turned.into()),
        format!("you read {name} as sent; it travels least significant byte first"),
    );
    let question = Question::new(format!("{ask} (decimal, or hex after 0x):"), answer);
    let place = stands(decoded, field).unwrap_or_default();
    question.because(format!("{place}: 0x{right:04X} is {right}"))
}

fn length(decoded: &Decoded, payload: &Payload) -> Option<Question> {
    let (all, frm) = (decoded.octets.len(), payload.frm.len());
    let right = u64::try_from(frm).ok()?;
    let answer = Answer::new(Value::Number(right))
        .unless(
            Value::Number(right + 4),
            "you counted the MIC: the last four bytes are not payload",
        )
        .unless(Value::Number(right + 5), "you counted FPort and the MIC")
        .unless(Value::Number(right + 1), "you counted FPort: it is before FRMPayload");
    Some(
        Question::new("How many bytes has FRMPayload?", answer)
            .because(format!("{all} bytes, less {} before it and 4 of MIC", all - frm - 4)),
    )
}

/// Says where a field stands and what its octets are.
fn stands(decoded: &Decoded, field: Field) -> Option<String> {
    let at = decoded.fields().place_of(field)?;
    let octets = spaced(decoded.octets.get(at.clone())?);
    let place = if at.len() == 1 {
        format!("byte {}", at.start)
    } else {
        format!("bytes {}-{}", at.start, at.end - 1)
    };
    Some(format!("{} is {place}, as sent {octets}", field.name()))
}

fn flag_names(direction: Direction) -> [&'static str; 4] {
    match direction {
        Direction::Uplink => ["ADR", "ADRACKReq", "ACK", "ClassB"],
        Direction::Downlink => ["ADR", "RFU", "ACK", "FPending"],
    }
}

fn flags_of(data: &DataFrame) -> Vec<&'static str> {
    let set =
        [data.fctrl.adr(), data.fctrl.adr_ack_req(), data.fctrl.ack(), data.fctrl.f_pending()];
    let named = flag_names(data.direction()).into_iter().zip(set);
    named.filter_map(|(name, set)| set.then_some(name)).collect()
}

fn flags_of_bits(octet: u8, direction: Direction) -> Vec<String> {
    let bits = [0x80, 0x40, 0x20, 0x10].map(|bit| octet & bit != 0);
    let named = flag_names(direction).into_iter().zip(bits);
    named.filter(|(_, set)| *set).map(|(name, _)| name.to_owned()).collect()
}

/// An address that anyone may use, for experiments.
fn orchard(dice: &mut Dice) -> DevAddr {
    DevAddr(0x0200_0000 | dice.below(0x0200_0000))
}

//! `read --brief`: one line a frame.

use std::fmt;

use crate::{
    frame::{FType, Frame},
    id::DevNonce,
    octet_rows::count,
    reading::{MicVerdict, Proof, Reading},
    show::{Input, Style, text::Tone},
};

/// Writes a frame in one line: its place, what it is, whether its MIC holds, and the values by which
/// frames are told apart, as many as the width has room for. A `?` behind the place says that it was
/// guessed to be a frame.
///
/// # Errors
/// When the writer fails.
pub fn brief(
    out: &mut dyn fmt::Write,
    input: Input<'_>,
    reading: &Reading,
    style: Style,
) -> fmt::Result {
    let number =
        input.line.unwrap_or(u64::try_from(input.index).unwrap_or(u64::MAX).saturating_add(1));
    let way = reading.direction.map_or("", |way| way.name());
    let what = reading.decoded.mhdr().map_or("nothing", |mhdr| short(mhdr.ftype()));
    let (tone, mic) = mic(reading);
    let doubt = if input.radio.is_some_and(|radio| radio.guessed) { '?' } else { ' ' };
    let head = format!("{number:>5}{doubt}{way:<4} {what:<12} ");
    let mut used = head.chars().count() + MIC_WIDTH;
    write!(out, "{head}{}{:w$}", style.paint(tone, mic), "", w = MIC_WIDTH - mic.len())?;
    for (tone, piece) in pieces(reading) {
        let width = 1 + piece.chars().count();
        if used + width > style.width {
            break;
        }
        used += width;
        write!(out, " {}", style.paint(tone, &piece))?;
    }
    writeln!(out)
}

/// `MIC unchecked`.
const MIC_WIDTH: usize = 13;

const fn short(ftype: FType) -> &'static str {
    match ftype {
        FType::JoinRequest => "Join-Request",
        FType::JoinAccept => "Join-Accept",
        FType::UnconfirmedDataUp | FType::UnconfirmedDataDown => "data",
        FType::ConfirmedDataUp | FType::ConfirmedDataDown => "data conf.",
        FType::RejoinRequest => "Rejoin-Req.",
        FType::Proprietary => "proprietary",
    }
}

const fn mic(reading: &Reading) -> (Tone, &'static str) {
    match reading.found.mic {
        MicVerdict::Holds(_) => (Tone::Good, "MIC holds"),
        MicVerdict::Fails(_) => (Tone::Bad, "MIC FAILS"),
        MicVerdict::Unchecked(_) => (Tone::Open, "MIC unchecked"),
    }
}

/// What there is to say, the most telling first.
fn pieces(reading: &Reading) -> Vec<(Tone, String)> {
    let mut pieces = Vec::new();
    if reading.is_cut() {
        pieces.push((Tone::Bad, "cut short".to_owned()));
    } else if reading.problems.iter().any(|problem| !problem.is_remark()) {
        pieces.push((Tone::Bad, "!".to_owned()));
    }
    let mut plain = values(reading);
    if let MicVerdict::Holds(Proof { source, .. }) = &reading.found.mic {
        plain.extend(source.node.as_ref().map(ToString::to_string));
    }
    for list in reading.found.commands.iter().chain(&reading.found.package) {
        plain.extend(list.commands.commands.iter().map(|command| command.name().to_owned()));
    }
    plain.push(count(&reading.decoded.octets));
    pieces.extend(plain.into_iter().map(|piece| (Tone::Plain, piece)));
    pieces
}

fn values(reading: &Reading) -> Vec<String> {
    match &reading.decoded.frame {
        Some(Frame::JoinRequest(request)) => {
            let DevNonce(nonce) = request.dev_nonce;
            vec![request.dev_eui.to_string(), format!("DevNonce {nonce}")]
        }
        Some(Frame::RejoinRequest(request)) => {
            let dev_eui = request.body.dev_eui().map(|dev_eui| dev_eui.to_string());
            let count = request.body.count().map(|DevNonce(count)| format!("RJcount {count}"));
            dev_eui.into_iter().chain(count).collect()
        }
        Some(Frame::JoinAccept(_)) => match &reading.found.accept {
            Some(opened) => {
                let accept = &opened.accept.accept;
                let nonce = accept.join_nonce.get();
                vec![accept.dev_addr.to_string(), format!("JoinNonce {nonce}")]
            }
            None => Vec::new(),
        },
        Some(Frame::Data(data)) => {
            let fcnt = reading.found.fcnt32.unwrap_or(u32::from(data.fcnt));
            let mut values = vec![data.dev_addr.to_string(), format!("FCnt {fcnt}")];
            values.extend(data.port().map(|port| format!("FPort {port}")));
            values.extend(data.fctrl.ack().then(|| "ACK".to_owned()));
            values
        }
        Some(Frame::Proprietary(_)) | None => Vec::new(),
    }
}

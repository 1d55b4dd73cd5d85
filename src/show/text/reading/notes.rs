//! What stands under the rows of a frame.

use std::fmt;

use crate::{
    frame::Frame,
    reading::{MicVerdict, Reading, Searched, Unchecked, Why},
    show::{
        Style,
        text::{Tone, paragraph},
    },
};

/// Writes what an explorer found and what was searched for.
pub(super) fn write(out: &mut dyn fmt::Write, reading: &Reading, style: Style) -> fmt::Result {
    let found = &reading.found;
    if let Some(why) = &reading.why {
        paragraph(out, style, "  ? ", Tone::Open, &why_words(why))?;
        if let Some(id) = why.cause {
            // A line of its own, to be copied whole.
            paragraph(out, style, "    ", Tone::Plain, &format!("See: handfast explain {id}"))?;
        }
    }
    for searched in &found.searched {
        paragraph(out, style, "  * ", Tone::Quiet, &searched_words(*searched))?;
    }
    if let MicVerdict::Unchecked(Unchecked::NoKey { .. }) = found.mic
        && matches!(reading.decoded.frame, Some(Frame::JoinAccept(_)))
    {
        let text = "All fields of a Join-Accept travel encrypted; the key that proves it opens it.";
        paragraph(out, style, "  * ", Tone::Quiet, text)?;
    }
    Ok(())
}

/// What an explorer found, and how sure that is.
fn why_words(why: &Why) -> String {
    let Why { what, certainty, odds, tried, .. } = why;
    let candidates = if *tried == 1 { "candidate" } else { "candidates" };
    let sure = certainty.name();
    format!("{what} ({sure}, false-match probability {odds:.0e}, {tried} {candidates} tried).")
}

fn searched_words(searched: Searched) -> String {
    match searched {
        Searched::UpperHalf { found } => {
            format!("Found by search: the upper half of the counter is {found}.")
        }
        Searched::UplinkContext { found, tried, fit } => {
            let doubt = if fit > 1 {
                format!(" {fit} combinations fit: the first is shown.")
            } else {
                String::new()
            };
            format!(
                "Found by search of {tried} combinations: TxDr {}, TxCh {}, ConfFCnt {}.{doubt}",
                found.tx_dr, found.tx_ch, found.conf_fcnt
            )
        }
    }
}

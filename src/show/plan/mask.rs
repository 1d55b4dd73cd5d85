//! ChMask words as channels, and back.

use std::fmt::{self, Write};

use serde::Serialize;

use super::{commands, outside, page::Page};
use crate::region::{ChannelMask, Plan};

/// Writes the words, the channels and, in a plan, the sub-bands of a mask.
///
/// # Errors
/// When `out` does not take it.
pub fn text(mask: &ChannelMask, plan: Option<&Plan>, out: &mut dyn Write) -> fmt::Result {
    let mask = mask.padded(plan.map_or(1, Plan::mask_words));
    let mut page = Page::new(out);
    page.field("words", &mask.to_string())?;
    page.field("channels", &mask.list())?;
    page.field("", &format!("{} in all; first word is channels 0-15", mask.len()))?;
    let Some(plan) = plan else { return Ok(()) };
    page.field("plan", plan.name)?;
    for (n, on, of) in sub_bands(plan, &mask) {
        let how = if on == of { "whole".into() } else { format!("{on} of {of} channels") };
        page.field(&format!("sub-band {n}"), &how)?;
    }
    let beyond = outside(plan, &mask);
    if !beyond.is_empty() {
        page.field("not in plan", &beyond.list())?;
    }
    if !plan.uplink_blocks.is_empty() && beyond.is_empty() {
        for (cntl, word) in commands(plan, &mask) {
            page.field("LinkADRReq", &format!("ChMaskCntl {cntl}, ChMask {word:04X}"))?;
        }
    }
    Ok(())
}

/// Writes a mask as one JSON object in one line.
///
/// # Errors
/// When `out` does not take it.
pub fn json(mask: &ChannelMask, plan: Option<&Plan>, out: &mut dyn Write) -> fmt::Result {
    let mask = mask.padded(plan.map_or(1, Plan::mask_words));
    let report = MaskJson {
        schema: crate::show::json::SCHEMA,
        masks: mask.words().iter().map(|w| format!("{w:04x}")).collect(),
        channels: mask.channels().collect(),
        plan: plan.map(|p| p.name),
        sub_bands: plan.map(|p| {
            sub_bands(p, &mask)
                .into_iter()
                .map(|(sub_band, on, of)| SubBandJson { sub_band, channels: on, whole: on == of })
                .collect()
        }),
        not_in_plan: plan.map(|p| outside(p, &mask).channels().collect()),
    };
    writeln!(out, "{}", crate::show::json::object(&report)?)
}

/// Number, channels enabled and channels in all of the sub-bands that have any enabled.
fn sub_bands(plan: &Plan, mask: &ChannelMask) -> Vec<(u8, usize, usize)> {
    (1..=plan.sub_bands)
        .map(|n| {
            let channels = plan.sub_band_channels(n);
            (n, channels.iter().filter(|c| mask.contains(**c)).count(), channels.len())
        })
        .filter(|(_, on, _)| *on > 0)
        .collect()
}

#[derive(Serialize)]
struct MaskJson {
    schema: u32,
    masks: Vec<String>,
    channels: Vec<u16>,
    #[serde(skip_serializing_if = "Option::is_none")]
    plan: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    sub_bands: Option<Vec<SubBandJson>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    not_in_plan: Option<Vec<u16>>,
}

#[derive(Serialize)]
struct SubBandJson {
    sub_band: u8,
    channels: usize,
    whole: bool,
}

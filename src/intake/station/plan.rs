//! `router_config`: how the server has the gateway set up.

use serde_json::Value;

use super::{
    super::{event::GatewayPlan, text::printable},
    fields::{Fields, eui},
};
use crate::{id::Eui64, radio::Modulation};

pub(super) fn read(fields: &mut Fields<'_, '_>) -> GatewayPlan {
    let list = |member| fields.get(member).and_then(Value::as_array);
    let mut rates = [None; 16];
    for (rate, row) in rates.iter_mut().zip(list("DRs").into_iter().flatten()) {
        *rate = modulation(row);
    }
    let uplinks = list("upchannels").into_iter().flatten().take(MOST_CHANNELS);
    GatewayPlan {
        region: fields.get("region").and_then(Value::as_str).map(name),
        range_hz: list("freq_range").and_then(|range| Some((hertz(range, 0)?, hertz(range, 1)?))),
        rates,
        uplinks: uplinks.filter_map(channel).collect(),
        join_euis: list("JoinEui").or_else(|| list("JoinEUI")).and_then(|all| ranges(all)),
        net_ids: list("NetID").and_then(|all| net_ids(all)),
    }
}

fn name(text: &str) -> String {
    let head: String = text.chars().take(LONGEST_NAME).collect();
    printable(&head).into()
}

/// A row of DRs: spreading factor, bandwidth in kHz, whether for downlinks alone.
fn modulation(row: &Value) -> Option<Modulation> {
    let row = row.as_array()?;
    let sf = row.first()?.as_i64()?;
    let bw_khz = row.get(1).and_then(Value::as_u64).and_then(|bw| u16::try_from(bw).ok());
    match (u8::try_from(sf).ok()?, bw_khz) {
        (0, _) => Some(Modulation::Fsk { bit_rate: 50_000 }),
        (sf @ 5..=12, Some(bw_khz @ (125 | 250 | 500))) => Some(Modulation::Lora { sf, bw_khz }),
        _ => None,
    }
}

fn hertz(list: &[Value], at: usize) -> Option<u32> {
    list.get(at)?.as_u64()?.try_into().ok()
}

fn channel(row: &Value) -> Option<(u32, u8, u8)> {
    let row = row.as_array()?;
    let dr = |at: usize| row.get(at)?.as_u64()?.try_into().ok();
    Some((hertz(row, 0)?, dr(1)?, dr(2)?))
}

/// Pairs of EUIs. What a list without any, or with one that cannot be read, filters is not known.
fn ranges(all: &[Value]) -> Option<Vec<(Eui64, Eui64)>> {
    let pair = |pair: &Value| {
        let pair = pair.as_array()?;
        Some((eui(pair.first()?)?, eui(pair.get(1)?)?))
    };
    let ranges: Option<Vec<_>> = short(all)?.iter().map(pair).collect();
    ranges.filter(|ranges| !ranges.is_empty())
}

fn net_ids(all: &[Value]) -> Option<Vec<u32>> {
    let ids: Option<Vec<u32>> = short(all)?.iter().map(|id| id.as_u64()?.try_into().ok()).collect();
    ids.filter(|ids| !ids.is_empty())
}

/// A list that is kept for each gateway; of a longer one it is not known what it filters.
fn short(all: &[Value]) -> Option<&[Value]> {
    (all.len() <= MOST_FILTERS).then_some(all)
}

/// Characters of a region's name: CN470510 has eight.
const LONGEST_NAME: usize = 32;
/// NetIDs are told apart by seven bits, and a server has a handful of JoinEUI ranges.
const MOST_FILTERS: usize = 256;
/// CN470 has 96 channels, and no plan more.
const MOST_CHANNELS: usize = 256;

//! What a capture holds that has no frame in it, as one JSON object a gateway.

use std::{collections::BTreeMap, fmt};

use serde::Serialize;

use super::SCHEMA;
use crate::{id::Eui64, intake::Holdings};

#[derive(Serialize)]
struct Object {
    schema: u32,
    gateway: Gateway,
    holds: BTreeMap<&'static str, u64>,
}

#[derive(Serialize)]
struct Gateway {
    eui: Option<String>,
}

/// Writes what a capture holds, one object a gateway.
///
/// # Errors
/// Whatever the writer says.
pub fn holdings(out: &mut dyn fmt::Write, holdings: &Holdings) -> fmt::Result {
    for (eui, kinds) in holdings.iter() {
        let gateway = Gateway { eui: eui.map(Eui64::hex) };
        let holds = kinds.map(|(kind, n)| (kind.name(), n)).collect();
        super::line(out, &Object { schema: SCHEMA, gateway, holds })?;
    }
    Ok(())
}

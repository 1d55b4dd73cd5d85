//! What `--version` says: the program's, and the standards that it knows.

use std::sync::LazyLock;

use crate::{
    frame::MacVersion,
    region::{Plan, Revision},
};

/// The version with the standards' revisions, from the tables that the program computes with.
pub(super) static LONG: LazyLock<String> = LazyLock::new(|| {
    let versions = MacVersion::ALL.map(MacVersion::name).join(", ");
    let revisions = Revision::ALL.map(Revision::name);
    let lines: Vec<String> = revisions.chunks(4).map(|line| line.join(", ")).collect();
    format!(
        "{}\n\
         LoRaWAN link layer   {versions} with its erratum\n\
         regional parameters  {}\n\
         channel plans        {}, by {} where nothing else is asked for\n\
         further              TS005 multicast keys, TS011 relay commands\n\
         gateways             the UDP protocol, versions 1 and 2",
        env!("CARGO_PKG_VERSION"),
        lines.join(",\n                     "),
        Plan::all().len(),
        Revision::LATEST,
    )
});

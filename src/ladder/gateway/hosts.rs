//! Other hosts that speak under a gateway's address, or under that of its server.

use super::{Case, identity::link_layer};
use crate::{
    fact::{Fact, fact},
    intake::Sender,
    trace::OtherHost,
};

/// The host that sends most in the name of a gateway, or to it in the name of its server.
pub(in crate::ladder) fn other_host<'a>(case: &Case<'a>, sender: Sender) -> Option<&'a OtherHost> {
    let hosts = case.trace.other_hosts.iter();
    let of = |host: &&OtherHost| host.sender == sender && host.gateway == case.eui;
    hosts.filter(of).max_by_key(|host| host.pushes + host.pulls + host.orders)
}

/// Who another host is, in a sentence of evidence.
pub(in crate::ladder) fn introduce(host: &OtherHost) -> Fact {
    fact!(
        "{link} sends from {address}, and all that is sent to {address} goes to {own_link}",
        link = link_layer(host.link),
        address = host.address.to_string(),
        own_link = link_layer(host.own_link)
    )
}

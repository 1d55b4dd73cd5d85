//! Identifiers of a source of which nothing says the byte order: other places may.

use super::Subject;
use crate::roster::{
    Claim,
    firmware::{ByteOrder, OrderFrom, Taken},
};

/// A value of a source whose byte order is open.
#[derive(Clone, Debug)]
pub struct OpenOrder {
    /// The node.
    pub node: String,
    /// The value.
    pub taken: Taken,
}

/// Takes each value whose order nothing says in the order in which another place of the same node has it.
/// What stays open is taken out of the firmware's claim and returned: no order is guessed.
pub fn settle_orders(subjects: &mut [Subject]) -> Vec<OpenOrder> {
    let mut open = Vec::new();
    for subject in subjects {
        for taken in subject.taken.iter_mut().filter(|taken| taken.is_order_open()) {
            let Some(firmware) = &mut subject.node.firmware else { continue };
            let mut others = subject.node.record.iter().chain(&subject.node.label);
            let mut turned = firmware.clone();
            turned.turn(taken.member);
            let found = others.find_map(|other| {
                if same(firmware, other, taken.member) {
                    return Some(ByteOrder::Printed);
                }
                same(&turned, other, taken.member).then_some(ByteOrder::Reversed)
            });
            if let Some(order) = found {
                if order == ByteOrder::Reversed {
                    *firmware = turned;
                }
                taken.order = order;
                taken.order_from = OrderFrom::Agreement;
            } else {
                firmware.take_out(taken.member);
                open.push(OpenOrder { node: subject.node.name.clone(), taken: taken.clone() });
            }
        }
    }
    open
}

fn same(one: &Claim, other: &Claim, member: &str) -> bool {
    match member {
        "dev-eui" => one.dev_eui.is_some() && one.dev_eui == other.dev_eui,
        "join-eui" => one.join_eui.is_some() && one.join_eui == other.join_eui,
        "dev-addr" => one.dev_addr.is_some() && one.dev_addr == other.dev_addr,
        "net-id" => one.net_id.is_some() && one.net_id == other.net_id,
        _ => false,
    }
}

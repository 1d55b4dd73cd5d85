//! A Join-Request that lacks one byte of its DevEUI.

use super::Tracer;
use crate::{
    frame::JoinRequest,
    id::{DevEui, JoinEui},
};

/// Where DevEUI begins: after MHDR and JoinEUI.
const DEV_EUI_AT: usize = 9;

/// Returns which byte of a DevEUI a Join-Request lacks, from 1 at the left as it is printed, where the
/// JoinEUI and the seven other bytes are as claimed.
pub(crate) fn missing_dev_eui_byte(
    octets: &[u8],
    join_eui: JoinEui,
    dev_eui: DevEui,
) -> Option<usize> {
    if octets.len() != JoinRequest::LEN - 1 || octets.get(1..DEV_EUI_AT)? != join_eui.to_wire() {
        return None;
    }
    let sent = octets.get(DEV_EUI_AT..DEV_EUI_AT + 7)?;
    let whole = dev_eui.to_wire();
    // All of it is there: what lacks is a byte of another field.
    if octets.get(DEV_EUI_AT..DEV_EUI_AT + 8)? == whole {
        return None;
    }
    let lacks = |at: &usize| {
        let others = whole.iter().enumerate().filter(|(i, _)| i != at);
        others.map(|(_, byte)| byte).eq(sent)
    };
    // The first on the wire is the last in print.
    (0..whole.len()).find(lacks).map(|at| whole.len() - at)
}

impl Tracer<'_> {
    /// The only node of the roster whose DevEUI lacks one byte in this request.
    pub(super) fn lacking_a_byte(&self, octets: &[u8]) -> Option<usize> {
        let mut nodes = self.roster.nodes.iter().enumerate().filter(|(_, node)| {
            node.claims().any(|(_, claim)| {
                let both = claim.join_eui.zip(claim.dev_eui);
                both.is_some_and(|(join, dev)| missing_dev_eui_byte(octets, join, dev).is_some())
            })
        });
        let (first, _) = nodes.next()?;
        nodes.next().is_none().then_some(first)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_byte_that_is_missing_is_counted_as_printed() {
        let join_eui: JoinEui = "020000fffe0b0001".parse().unwrap();
        let dev_eui: DevEui = "020000fffe0a1b2c".parse().unwrap();
        let mut whole = vec![0];
        whole.extend(join_eui.to_wire());
        whole.extend(dev_eui.to_wire());
        whole.extend([7, 0, 1, 2, 3, 4]);
        assert_eq!(missing_dev_eui_byte(&whole, join_eui, dev_eui), None);
        let without = |at: usize| {
            let mut octets = whole.clone();
            octets.remove(at);
            octets
        };
        // 2c travels first.
        assert_eq!(missing_dev_eui_byte(&without(9), join_eui, dev_eui), Some(8));
        assert_eq!(missing_dev_eui_byte(&without(11), join_eui, dev_eui), Some(6));
        assert_eq!(missing_dev_eui_byte(&without(16), join_eui, dev_eui), Some(1));
        // A byte of the JoinEUI, or of what follows, is another fault.
        assert_eq!(missing_dev_eui_byte(&without(3), join_eui, dev_eui), None);
        assert_eq!(missing_dev_eui_byte(&without(18), join_eui, dev_eui), None);
        let other: DevEui = "020000fffe0a1b2d".parse().unwrap();
        assert_eq!(missing_dev_eui_byte(&without(11), join_eui, other), None);
    }
}

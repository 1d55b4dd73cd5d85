//! The MAC commands of each frame, decrypted.

use crate::{
    crypto::{EncryptionKeys, Verified, block::FOptsText, cipher, derive::SessionKeys},
    frame::{
        DataFrame, Direction, MacVersion,
        command::{self, Command, Commands},
    },
    region::{Plan, PlanKind},
    trace::{DataSeen, Session},
};

/// What a frame says in MAC commands: those of FOpts, then those on FPort 0.
#[derive(Clone, Debug, Default, Eq, PartialEq)]
pub struct Said {
    /// The commands that the other side reads, in order.
    pub commands: Vec<Command>,
    /// What ends the reading before the list ends.
    pub unread: Option<Unread>,
}

/// What ends the reading of a list: the other side does not know how long the command is, and so
/// reads nothing after it (LoRaWAN 1.1, chapter 5).
#[derive(Clone, Debug, Eq, PartialEq)]
pub enum Unread {
    /// A CID that nobody assigns, a proprietary one, or a command that is cut short.
    Unknown {
        /// The CID.
        cid: u8,
    },
    /// A command that the node's version does not have.
    Foreign {
        /// The command, by the layout of a version that has it.
        command: Command,
        /// What stands after it.
        behind: Vec<Command>,
    },
}

impl Said {
    /// Returns the command of that name.
    pub fn command(&self, name: &str) -> Option<&Command> {
        self.commands.iter().find(|command| command.name() == name)
    }

    /// Returns whether it says a command of that name.
    pub fn says(&self, name: &str) -> bool {
        self.command(name).is_some()
    }
}

/// Frames on which the two texts of 1.1 are compared.
const COMPARED: usize = 32;

/// Returns what each frame of a session says.
pub(super) fn of(session: &Session, version: Option<MacVersion>, published: bool) -> Vec<Said> {
    session.frames.iter().map(|seen| read(session, seen, version, published)).collect()
}

/// Whether both sides encrypt FOpts by the text of 1.1 before its erratum: only so its lists make sense.
pub(super) fn follows_the_published_text(session: &Session, version: Option<MacVersion>) -> bool {
    let encrypted = |seen: &&DataSeen| {
        let of_1_1 = session.candidate_of(seen).map(|c| matches!(c.keys, SessionKeys::V1_1 { .. }));
        of_1_1 == Some(true) && !seen.data.frame().fopts.is_empty()
    };
    let (mut by_erratum, mut by_published) = (0, 0);
    for seen in session.frames.iter().filter(encrypted).take(COMPARED) {
        let direction = seen.data.frame().direction();
        let makes_sense = |published| {
            let list = command::decode(&f_opts(session, seen, published), direction, version);
            usize::from(list.trailing.is_none() && list.faults().is_empty())
        };
        by_erratum += makes_sense(false);
        by_published += makes_sense(true);
    }
    by_published > 2 * by_erratum
}

/// FOpts in clear.
fn f_opts(session: &Session, seen: &DataSeen, published: bool) -> Vec<u8> {
    let text = if published { FOptsText::AsPublished } else { FOptsText::Amended };
    let clear = |verified: Verified<&DataFrame>| {
        let keys = EncryptionKeys::from(&session.candidate_of(seen)?.keys);
        Some(cipher::fopts(&verified, &keys, text)?.into_owned())
    };
    seen.verified().and_then(clear).unwrap_or_default()
}

/// The payload of FPort 0 in clear.
fn port_0(session: &Session, seen: &DataSeen) -> Option<Vec<u8>> {
    if seen.data.frame().port() != Some(0) {
        return None;
    }
    let keys = EncryptionKeys::from(&session.candidate_of(seen)?.keys);
    Some(cipher::payload(&seen.verified()?, &keys)?.octets)
}

fn read(session: &Session, seen: &DataSeen, version: Option<MacVersion>, published: bool) -> Said {
    let frame = seen.data.frame();
    let mut said = Said::default();
    let mut lists = Vec::new();
    if !frame.fopts.is_empty() {
        lists.push(f_opts(session, seen, published));
    }
    lists.extend(port_0(session, seen));
    for octets in lists {
        take(&mut said, command::decode(&octets, frame.direction(), version), version);
    }
    said
}

fn take(said: &mut Said, list: Commands, version: Option<MacVersion>) {
    let trailing = list.trailing.as_ref().map(|trailing| trailing.cid);
    let mut commands = list.commands.into_iter();
    while let Some(command) = commands.next() {
        // A node says what it has.
        let down = command.row.direction == Direction::Downlink;
        if down && !command.row.is_in(version) {
            let behind = commands.collect();
            said.unread = Some(Unread::Foreign { command, behind });
            return;
        }
        said.commands.push(command);
    }
    if let Some(cid) = trailing {
        said.unread = Some(Unread::Unknown { cid });
    }
}

/// Returns whether a node of that plan and version answers a request at all.
///
/// Fixed plans have no NewChannelReq and no DlChannelReq, and TXParamSetupReq is for the plans that
/// limit dwell time: elsewhere a node drops them without an answer (LoRaWAN 1.1, 5.7, 5.9).
pub(super) fn is_answered(command: &Command, plan: Option<&'static Plan>) -> bool {
    if command::answer_to(command.row).is_none() {
        return false;
    }
    match (command.name(), plan) {
        ("NewChannelReq" | "DlChannelReq", Some(plan)) => plan.kind == PlanKind::Dynamic,
        ("TXParamSetupReq", Some(plan)) => plan.dwell.tx_param_setup,
        _ => true,
    }
}

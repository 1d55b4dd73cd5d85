//! What the application packages say in a session: on FPorts 200 to 203, in clear.

use super::course::Course;
use crate::{
    crypto::{EncryptionKeys, cipher},
    fact::Cite,
    frame::{
        Direction,
        command::{Command, package},
    },
    trace::{DataSeen, Line, Session},
};

/// A command of a package, and the frame that carries it.
#[derive(Clone, Debug)]
pub(in crate::ladder) struct Said {
    /// The frame's place in the session.
    pub(in crate::ladder) place: usize,
    pub(in crate::ladder) line: Line,
    pub(in crate::ladder) port: u8,
    pub(in crate::ladder) up: bool,
    pub(in crate::ladder) command: Command,
}

impl Said {
    /// Returns whether it is that command.
    pub(in crate::ladder) fn is(&self, port: u8, name: &str) -> bool {
        self.port == port && self.command.name() == name
    }

    pub(in crate::ladder) fn number(&self, name: &str) -> i64 {
        self.command.number(name).unwrap_or_default()
    }

    /// Returns the names of the error bits that are set.
    pub(in crate::ladder) fn errors(&self) -> Vec<&'static str> {
        let fields = self.command.fields.iter();
        let flag = |name: &'static str| self.command.flag(name) == Some(true);
        let is_bit = |spec: &crate::frame::command::FieldSpec| spec.hi == spec.lo;
        fields
            .filter(|field| is_bit(field.spec) && flag(field.spec.name))
            .map(|field| field.spec.name)
            .collect()
    }

    pub(in crate::ladder) fn cite(&self, story: &Course<'_>) -> Cite {
        story.cite(self.place)
    }

    /// Returns when it was captured, microseconds since 1970.
    pub(in crate::ladder) fn time_us(&self, story: &Course<'_>) -> Option<i64> {
        story.time_us(self.place)
    }
}

/// Returns all that the packages say in a session, in order.
pub(super) fn of(session: &Session) -> Vec<Said> {
    // The setup of a session of fragments tells the version by its length.
    let clear: Vec<_> = (0..session.frames.len()).filter_map(|at| clear(session, at)).collect();
    let is_old = |(port, up, octets): &(u8, bool, &[u8])| {
        let list = package::decode(*port, octets, Direction::Downlink, Some(1));
        let setup = |command: &Command| command.name() == "FragSessionSetupReq";
        *port == package::FRAGMENTATION_PORT
            && !up
            && list.is_some_and(|list| list.commands.iter().any(setup))
    };
    let old = clear.iter().any(|one| is_old(&(one.port, one.up, &one.octets)));
    let mut out = Vec::new();
    for Clear { place, port, up, octets } in clear {
        let version = (old && port == package::FRAGMENTATION_PORT).then_some(1);
        let direction = if up { Direction::Uplink } else { Direction::Downlink };
        let Some(list) = package::decode(port, &octets, direction, version) else { continue };
        // The application's own payload may look like a list: seldom like a lawful one.
        if !list.faults().is_empty() {
            continue;
        }
        let Some(line) = session.frames.get(place).map(|seen| seen.data.line()) else { continue };
        let said = |command| Said { place, line, port, up, command };
        out.extend(list.commands.into_iter().map(said));
    }
    out
}

/// A payload of a package's FPort.
struct Clear {
    place: usize,
    port: u8,
    up: bool,
    octets: Vec<u8>,
}

fn clear(session: &Session, place: usize) -> Option<Clear> {
    let seen: &DataSeen = session.frames.get(place)?;
    let frame = seen.data.frame();
    let port = frame.port().filter(|port| package::of_port(*port).is_some())?;
    let keys = EncryptionKeys::from(&session.candidate_of(seen)?.keys);
    let octets = cipher::payload(&seen.verified()?, &keys)?.octets;
    Some(Clear { place, port, up: frame.direction() == Direction::Uplink, octets })
}

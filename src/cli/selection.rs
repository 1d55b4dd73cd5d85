//! Which frames and nodes of a long capture are wanted.

use jiff::{SignedDuration, Timestamp, civil};

use super::UsageError;
use crate::{
    frame::{FType, Field, Frame, Mhdr},
    id::{DevAddr, DevEui, Eui64},
    intake::Event,
    nearest::nearest,
    reading::{MicVerdict, Reading},
    roster::Roster,
    show::Radio,
    trace::NodeTrace,
};

const HEAD: &str = "Filters";

/// Options that select, of commands that read captures.
#[derive(Clone, Debug, Default, clap::Args)]
pub struct Selection {
    /// Only of this node: its name on the roster, DevEUI or DevAddr; may be repeated
    #[arg(long = "node", value_name = "NODE", help_heading = HEAD)]
    pub nodes: Vec<String>,
    /// Only through this gateway: its name on the roster, or its EUI; may be repeated
    #[arg(long = "gateway", value_name = "GATEWAY", help_heading = HEAD)]
    pub gateways: Vec<String>,
    /// Only from this time on: 2026-03-02T08:00:00Z, 2026-03-02 (UTC)
    #[arg(long, value_name = "TIME", value_parser = time, help_heading = HEAD)]
    pub from: Option<Timestamp>,
    /// Only before this time
    #[arg(long, value_name = "TIME", value_parser = time, help_heading = HEAD)]
    pub to: Option<Timestamp>,
    /// Only this message: join-request, join-accept, rejoin-request, unconfirmed-data-up...
    #[arg(long = "message", value_name = "NAME", value_parser = message, help_heading = HEAD)]
    pub messages: Vec<FType>,
}

/// A time: RFC 3339, or without a zone, or a day alone, both in UTC.
pub(super) fn time(text: &str) -> Result<Timestamp, String> {
    let utc = |civil: civil::DateTime| civil.to_zoned_datetime(jiff::tz::TimeZone::UTC).ok();
    let read = text
        .parse()
        .ok()
        .or_else(|| utc(text.parse::<civil::DateTime>().ok()?).map(|zoned| zoned.timestamp()))
        .or_else(|| utc(text.parse::<civil::Date>().ok()?.at(0, 0, 0, 0)).map(|z| z.timestamp()));
    read.ok_or_else(|| {
        "a time is 2026-03-02T08:00:00Z, 2026-03-02T09:00:00+01:00, or a day such as 2026-03-02 \
         (UTC)"
            .to_owned()
    })
}

/// A message by its name; `data-up` and `data-down` are no names of the standard's.
fn message(text: &str) -> Result<FType, String> {
    let all: Vec<FType> = (0..8).map(|n| Mhdr(n << 5).ftype()).collect();
    let found = all.iter().find(|ftype| ftype.name().eq_ignore_ascii_case(text));
    found.copied().ok_or_else(|| {
        let names: Vec<&str> = all.iter().map(|ftype| ftype.name()).collect();
        match nearest(text, names.iter().copied()) {
            Some(near) => format!("did you mean {near}?"),
            None => format!("one of {}", names.join(", ")),
        }
    })
}

impl Selection {
    /// Returns whether a frame is wanted, by what stands next to it and its first byte.
    pub(super) fn keeps(&self, gateways: &Gateways, radio: Option<&Radio>, octets: &[u8]) -> bool {
        let (gateway, at) = radio.map_or((None, None), |radio| (radio.gateway, radio.time));
        gateways.keep(gateway) && self.keeps_time(at) && self.keeps_message(octets)
    }

    /// Returns whether an event is wanted.
    pub(super) fn keeps_event(&self, gateways: &Gateways, event: &Event) -> bool {
        let message = event.frame().is_none_or(|frame| self.keeps_message(&frame.octets));
        gateways.keep(event.gateway) && self.keeps_time(event.time) && message
    }

    /// What has no time is in no span of time.
    pub(super) fn keeps_time(&self, at: Option<Timestamp>) -> bool {
        self.from.is_none_or(|from| at.is_some_and(|at| at >= from))
            && self.to.is_none_or(|to| at.is_some_and(|at| at < to))
    }

    fn keeps_message(&self, octets: &[u8]) -> bool {
        self.messages.is_empty()
            || octets.first().is_some_and(|first| self.messages.contains(&Mhdr(*first).ftype()))
    }

    /// Returns the gateways that are wanted.
    ///
    /// # Errors
    /// [`UsageError::NoGateway`] for a name that is on no roster and no EUI;
    /// [`UsageError::NoSpan`] where no time can be wanted.
    pub(super) fn gateways(&self, roster: Option<&Roster>) -> Result<Gateways, UsageError> {
        if let (Some(from), Some(to)) = (self.from, self.to)
            && from >= to
        {
            return Err(UsageError::NoSpan { from, to });
        }
        let known = roster.into_iter().flat_map(|roster| &roster.gateways);
        let named = |text: &str| {
            known.clone().find(|one| one.name.as_deref() == Some(text)).map(|one| one.eui)
        };
        let found = self.gateways.iter().map(|text| {
            named(text).or_else(|| text.parse().ok()).ok_or_else(|| {
                let near = nearest(text, known.clone().filter_map(|one| one.name.as_deref()));
                UsageError::NoGateway { name: text.clone(), near: near.map(str::to_owned) }
            })
        });
        found.collect::<Result<_, _>>().map(Gateways)
    }

    /// Returns the nodes that are wanted.
    ///
    /// # Errors
    /// [`UsageError::NoNode`] for a name that is on no roster and no identifier.
    pub(super) fn who(&self, roster: Option<&Roster>) -> Result<Who, UsageError> {
        let mut who = Who { all: self.nodes.is_empty(), ..Who::default() };
        for text in &self.nodes {
            let known = roster.into_iter().flat_map(|roster| &roster.nodes);
            if let Some(node) = known.clone().find(|node| node.name == *text) {
                who.names.push(node.name.clone());
                for (_, claim) in node.claims() {
                    who.dev_euis.extend(claim.dev_eui);
                    who.dev_addrs.extend(claim.dev_addr);
                }
            } else if let Ok(dev_eui) = text.parse::<DevEui>() {
                who.dev_euis.push(dev_eui);
            } else if let Ok(dev_addr) = text.parse::<DevAddr>() {
                who.dev_addrs.push(dev_addr);
            } else {
                let near = nearest(text, known.map(|node| node.name.as_str()));
                return Err(UsageError::NoNode {
                    name: text.clone(),
                    near: near.map(str::to_owned),
                });
            }
        }
        Ok(who)
    }
}

/// The gateways that are wanted; all where none is named.
#[derive(Clone, Debug, Default)]
pub(super) struct Gateways(Vec<Eui64>);

impl Gateways {
    /// Returns whether a gateway is wanted.
    pub(super) fn keep(&self, gateway: Option<Eui64>) -> bool {
        self.0.is_empty() || gateway.is_some_and(|eui| self.0.contains(&eui))
    }
}

/// The nodes that are wanted.
#[derive(Clone, Debug, Default)]
pub(super) struct Who {
    all: bool,
    names: Vec<String>,
    dev_euis: Vec<DevEui>,
    dev_addrs: Vec<DevAddr>,
}

impl Who {
    /// Returns whether a frame is of one of them: by the identifiers in it, or by the key under which
    /// it holds.
    pub(super) fn has_sent(&self, reading: &Reading) -> bool {
        if self.all {
            return true;
        }
        let octets = |field| reading.decoded.octets_of(field);
        let dev_eui = octets(Field::DevEui).and_then(|octets| octets.try_into().ok());
        let dev_eui = dev_eui.map(|octets: [u8; 8]| DevEui(Eui64::from_wire(octets)));
        let addr = match &reading.decoded.frame {
            Some(Frame::Data(data)) => Some(data.dev_addr),
            _ => reading.found.accept.as_ref().map(|opened| opened.accept.accept.dev_addr),
        };
        let source = match &reading.found.mic {
            MicVerdict::Holds(proof) => Some(&proof.source),
            MicVerdict::Fails(_) | MicVerdict::Unchecked(_) => None,
        };
        dev_eui.is_some_and(|eui| self.dev_euis.contains(&eui))
            || addr.is_some_and(|addr| self.dev_addrs.contains(&addr))
            || source.is_some_and(|source| {
                source.dev_eui.is_some_and(|eui| self.dev_euis.contains(&eui))
                    || source
                        .node
                        .as_deref()
                        .is_some_and(|name| self.names.iter().any(|n| n == name))
            })
    }

    /// Returns whether a node of a trace is one of them.
    pub(super) fn is(&self, name: Option<&str>, node: &NodeTrace) -> bool {
        self.all
            || name.is_some_and(|name| self.names.iter().any(|known| known == name))
            || node.dev_eui.is_some_and(|eui| self.dev_euis.contains(&eui))
            || node.sessions.iter().any(|session| self.dev_addrs.contains(&session.dev_addr))
    }
}

/// A span of time before the end of a capture, or a time: `90m`, `2h`, `3d`, `2026-03-02T08:00Z`.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub(super) enum Since {
    /// So long before the last frame.
    Last(SignedDuration),
    /// From then on.
    Time(Timestamp),
}

impl Since {
    /// Returns the time, in a capture that ends at a time.
    pub(super) fn time(self, end: Timestamp) -> Timestamp {
        match self {
            Self::Last(span) => end.checked_sub(span).unwrap_or(Timestamp::MIN),
            Self::Time(time) => time,
        }
    }

    /// Reads one.
    pub(super) fn parse(text: &str) -> Result<Self, String> {
        let units = [('s', 1), ('m', 60), ('h', 3_600), ('d', 86_400)];
        let span = units.iter().find_map(|(unit, seconds)| {
            let number: i64 = text.strip_suffix(*unit)?.parse().ok()?;
            (number >= 0).then(|| number.checked_mul(*seconds).map(SignedDuration::from_secs))?
        });
        if let Some(span) = span {
            return Ok(Self::Last(span));
        }
        let wrong =
            |error| format!("a span such as 90m, 2h or 3d before the end, or a time: {error}");
        time(text).map(Self::Time).map_err(wrong)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_read_with_a_zone_or_in_utc() {
        let eight: Timestamp = "2026-03-02T08:00:00Z".parse().unwrap();
        for text in ["2026-03-02T08:00:00Z", "2026-03-02T09:00:00+01:00", "2026-03-02T08:00:00"] {
            assert_eq!(time(text), Ok(eight), "{text}");
        }
        assert_eq!(time("2026-03-02"), Ok("2026-03-02T00:00:00Z".parse().unwrap()));
        for text in ["", "noon", "2026-13-02", "08:00"] {
            assert!(time(text).is_err(), "{text}");
        }
    }

    #[test]
    fn a_span_counts_from_the_end() {
        let end: Timestamp = "2026-03-02T08:00:00Z".parse().unwrap();
        for (text, wanted) in [
            ("90m", "2026-03-02T06:30:00Z"),
            ("2h", "2026-03-02T06:00:00Z"),
            ("3d", "2026-02-27T08:00:00Z"),
            ("45s", "2026-03-02T07:59:15Z"),
            ("2026-03-01", "2026-03-01T00:00:00Z"),
        ] {
            assert_eq!(Since::parse(text).unwrap().time(end), wanted.parse().unwrap(), "{text}");
        }
        for text in ["", "h", "-1h", "99999999999999999999d", "9223372036854775807d", "soon"] {
            assert!(Since::parse(text).is_err(), "{text}");
        }
        assert_eq!(Since::parse("100000000000d").unwrap().time(end), Timestamp::MIN);
    }

    #[test]
    fn a_message_goes_by_the_standards_name() {
        assert_eq!(message("join-request"), Ok(FType::JoinRequest));
        assert_eq!(message("Confirmed-Data-Up"), Ok(FType::ConfirmedDataUp));
        assert_eq!(message("join-requst"), Err("did you mean join-request?".into()));
        assert!(message("beacon").unwrap_err().starts_with("one of join-request, "));
    }
}

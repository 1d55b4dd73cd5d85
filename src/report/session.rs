//! The session that the ladder tells of: the settings of both sides in a table, and its last downlinks on a scale
//! of time each. Zero is the end of the uplink that a downlink answers.

use super::{
    Subject,
    exchange::{Bar, Exchange, Fit, Shape, on},
    words,
};
use crate::{
    fact::{Fact, Secrets, fact, text},
    ladder::{
        self,
        session::{Account, DownlinkTold},
    },
    trace::{Trace, settings},
};

/// The session's part of a page.
#[derive(Debug, Default)]
pub(crate) struct SessionView {
    pub(crate) settings: Vec<SettingView>,
    pub(crate) downlinks: Vec<Exchange>,
    /// Downlinks that are not drawn.
    pub(crate) more: usize,
}

/// One setting of both sides.
#[derive(Debug)]
pub(crate) struct SettingView {
    pub(crate) name: &'static str,
    pub(crate) in_force: String,
    pub(crate) set_by: String,
    /// What the server's downlinks have; empty where none shows it.
    pub(crate) server: String,
    /// Whether that is another value.
    pub(crate) differs: bool,
}

/// Returns the part of a node whose diagnosis tells of a session.
pub(super) fn of(subject: Subject<'_>, trace: &Trace, secrets: Secrets) -> Option<SessionView> {
    let account = ladder::session_account(trace, subject.roster, subject.diagnosis)?;
    let Account { settings, downlinks, more } = account;
    let settings = settings.into_iter().map(|setting| SettingView {
        name: setting.name,
        in_force: text(&setting.in_force, secrets),
        set_by: text(&setting.set_by, secrets),
        server: setting.server.map(|fact| text(&fact, secrets)).unwrap_or_default(),
        differs: setting.fit == settings::Fit::No,
    });
    Some(SessionView {
        settings: settings.collect(),
        downlinks: downlinks.iter().map(|told| drawn(told, secrets)).collect(),
        more,
    })
}

fn drawn(told: &DownlinkTold, secrets: Secrets) -> Exchange {
    let words = |fact: &Fact| text(fact, secrets);
    let mut bars = Vec::new();
    let mut windows = Vec::new();
    if let Some(rx1) = told.rx1_us {
        for (name, opens) in [("RX1", rx1), ("RX2", rx1 + SECOND_US)] {
            windows.push((opens, opens + WINDOW_US));
            bars.push(Bar {
                label: name.into(),
                detail: format!("opens {}", words::after(opens)),
                shape: Shape::Window,
                from: opens,
                to: opens + WINDOW_US,
                fit: Fit::Plain,
                wrong: Vec::new(),
            });
        }
    }
    let mut notes = Vec::new();
    if let Some(slot) = told.slot_us {
        bars.push(Bar {
            label: if told.refused { "Downlink, not sent" } else { "Downlink on the air" }.into(),
            detail: format!("{}, {}", words::after(slot), on(told.freq_hz, told.modulation)),
            shape: Shape::Air,
            from: slot,
            to: slot.saturating_add(told.air_us),
            fit: match told.fit {
                _ if told.refused => Fit::Unsent,
                settings::Fit::Yes => Fit::Inside,
                settings::Fit::No => Fit::Outside,
                settings::Fit::Unknown => Fit::Plain,
            },
            wrong: told.wrong.iter().map(words).collect(),
        });
    } else {
        let wrong = told.wrong.iter().map(words).collect::<Vec<_>>().join("; ");
        let wrong = if wrong.is_empty() { wrong } else { format!(": {wrong}") };
        notes.push(format!(
            "Aimed at {}, {}{wrong}.",
            told.window,
            on(told.freq_hz, told.modulation)
        ));
    }
    let ends = bars.iter().map(|bar| bar.to).max().unwrap_or_default();
    let title = match &told.uplink {
        Some(uplink) => {
            let uplink = words(&fact!("{uplink}", uplink = uplink.clone()));
            format!("Downlink of {}, in answer to {uplink}", words(&cited(told)))
        }
        None => format!("Downlink of {}", words(&cited(told))),
    };
    Exchange {
        title,
        told: false,
        scale: (-MARGIN_US, ends.max(LEAST_US) + MARGIN_US),
        windows,
        bars,
        notes,
    }
}

fn cited(told: &DownlinkTold) -> Fact {
    fact!("{downlink}", downlink = told.at.clone())
}

/// RX2 opens a second after RX1.
const SECOND_US: i64 = 1_000_000;
/// How wide a window is drawn: how long a node listens is its own business.
const WINDOW_US: i64 = 100_000;
/// Room at both ends of a scale.
const MARGIN_US: i64 = 200_000;
/// A scale is no shorter.
const LEAST_US: i64 = 2_000_000;

//! The report of `airtime --capture`: each sender's account, as text and as JSON.

use std::{fmt, time::Duration};

use jiff::Timestamp;
use serde_json::{Value, json};

use super::micros;
use crate::{
    airtime::{Account, CaptureAirtime, Dwell, GatewayAirtime, NodeAirtime},
    region::DutyBand,
    show::{
        Style,
        text::{Tone, paragraph},
    },
};

/// Writes the report for people.
///
/// # Errors
///
/// Only those of `out`.
pub fn text(report: &CaptureAirtime, style: Style, out: &mut dyn fmt::Write) -> fmt::Result {
    let page = Page { style };
    if report.nodes.is_empty() && report.gateways.is_empty() {
        writeln!(out, "Nobody was heard, and nobody was to send.")?;
        return page.foot(report, out);
    }
    page.head(report, out)?;
    for node in &report.nodes {
        page.node(node, out)?;
    }
    for gateway in &report.gateways {
        page.gateway(gateway, out)?;
    }
    page.foot(report, out)
}

struct Page {
    style: Style,
}

impl Page {
    fn head(&self, report: &CaptureAirtime, out: &mut dyn fmt::Write) -> fmt::Result {
        let plain = |out: &mut dyn fmt::Write, text: &str| {
            paragraph(out, self.style, "", Tone::Plain, text)
        };
        match report.span {
            Some((first, last)) => plain(out, &format!("{} to {}", when(first), when(last)))?,
            None => plain(
                out,
                "The capture has no time stamps: hours, duty cycles and the join back-off cannot be \
                 told.",
            )?,
        }
        for plan in report.plans() {
            plain(out, &format!("{}: {}", plan.name, plan.duty_words()))?;
        }
        if report.plans().is_empty() {
            plain(
                out,
                "No region is known, so that nothing is held against limits: give --region.",
            )?;
        }
        plain(out, LOCAL_RULES)
    }

    fn node(&self, node: &NodeAirtime, out: &mut dyn fmt::Write) -> fmt::Result {
        let mut names = Vec::new();
        names.extend(node.dev_eui.map(|eui| format!("DevEUI {eui}")));
        names.extend(node.dev_addr.map(|addr| format!("DevAddr {addr}")));
        let account = &node.account;
        let name = node.name.clone().unwrap_or_else(|| names.remove(0));
        self.title(&name, &names, account, out)?;
        let heard = match account.receptions - account.transmissions {
            0 => String::new(),
            1 => "; a copy by another gateway".into(),
            more => format!("; {more} copies by other gateways"),
        };
        let asked = match (account.requests, account.transmissions) {
            (0, _) => String::new(),
            (1, 1) => ", a request to join".into(),
            (requests, all) if requests == all => ", all requests to join".into(),
            (1, _) => ", 1 of them a request to join".into(),
            (requests, _) => format!(", {requests} of them requests to join"),
        };
        self.sent(account, &format!("{asked}{heard}"), out)?;
        self.limits(account, out)?;
        for span in account.back_off.spans() {
            let text = format!(
                "{}: {} of {} for requests to join",
                span.name,
                seconds(span.used),
                seconds(span.allowed)
            );
            self.limit("back-off", &text, span.is_passed(), out)?;
        }
        Ok(())
    }

    fn gateway(&self, gateway: &GatewayAirtime, out: &mut dyn fmt::Write) -> fmt::Result {
        let eui = gateway.eui.map(|eui| eui.to_string());
        let name = match (&gateway.name, &eui) {
            (Some(name), _) => format!("gateway {name}"),
            (None, Some(eui)) => format!("gateway {eui}"),
            (None, None) => "a gateway without an EUI".into(),
        };
        let names: Vec<_> = eui.filter(|_| gateway.name.is_some()).into_iter().collect();
        self.title(&name, &names, &gateway.account, out)?;
        let refused = match gateway.refused {
            0 => String::new(),
            n => format!("; {n} more that it refused"),
        };
        self.sent(&gateway.account, &refused, out)?;
        self.limits(&gateway.account, out)
    }

    fn title(
        &self,
        name: &str,
        more: &[String],
        account: &Account,
        out: &mut dyn fmt::Write,
    ) -> fmt::Result {
        let mut words = more.to_vec();
        words.extend(account.plan.map(|plan| plan.name.to_owned()));
        writeln!(out, "\n{}", self.style.paint(Tone::Title, name))?;
        if words.is_empty() {
            return Ok(());
        }
        paragraph(out, self.style, "  ", Tone::Plain, &words.join(", "))
    }

    fn sent(&self, account: &Account, more: &str, out: &mut dyn fmt::Write) -> fmt::Result {
        let count = account.transmissions;
        let s = if count == 1 { "" } else { "s" };
        self.field("sent", &format!("{count} transmission{s}{more}"), out)?;
        let time = seconds(account.airtime);
        let time = match account.busiest() {
            Some(busiest) => format!(
                "{time}; busiest hour {}, from {}",
                seconds(busiest.airtime),
                when(busiest.from)
            ),
            None => time,
        };
        self.field("airtime", &time, out)?;
        if account.untimed > 0 {
            let text = format!(
                "{} more, of a data rate that is not said or has no formula here",
                account.untimed
            );
            self.field("", &text, out)?;
        }
        Ok(())
    }

    fn limits(&self, account: &Account, out: &mut dyn fmt::Write) -> fmt::Result {
        let Some(plan) = account.plan else { return Ok(()) };
        for used in account.duty() {
            let band = used.band.name(plan);
            let share = used.band.percent();
            let allowed = seconds(used.band.hourly());
            let text = match used.busiest {
                Some(busiest) => format!(
                    "{band}, {share}: busiest hour {} of {allowed}",
                    seconds(busiest.airtime)
                ),
                None => format!("{band}, {share}: {} in all", seconds(used.airtime)),
            };
            self.limit("duty", &text, used.is_passed(), out)?;
        }
        if account.outside > 0 {
            let text = format!("{} on frequencies of no sub-band", account.outside);
            self.field("", &text, out)?;
        }
        if let Some(dwell) = account.dwell() {
            self.limit("dwell", &dwell_words(dwell, account.longest), dwell.is_passed(), out)?;
        }
        for over in account.oversize() {
            let text = format!(
                "DR{}: {} longer than {} bytes of MACPayload, the longest {}",
                over.dr, over.frames, over.most, over.longest
            );
            self.limit("size", &text, true, out)?;
        }
        Ok(())
    }

    fn limit(
        &self,
        name: &str,
        text: &str,
        is_passed: bool,
        out: &mut dyn fmt::Write,
    ) -> fmt::Result {
        if !is_passed {
            return self.field(name, text, out);
        }
        let first = format!("  {name:<10}");
        paragraph(out, self.style, &first, Tone::Bad, &format!("{text}: PASSED"))
    }

    fn field(&self, name: &str, text: &str, out: &mut dyn fmt::Write) -> fmt::Result {
        paragraph(out, self.style, &format!("  {name:<10}"), Tone::Plain, text)
    }

    fn foot(&self, report: &CaptureAirtime, out: &mut dyn fmt::Write) -> fmt::Result {
        let joins = report.nodes.iter().any(|node| node.account.requests > 0);
        let mut remarks = Vec::new();
        if joins && report.span.is_some() {
            remarks.push(BACK_OFF_FROM.to_owned());
        }
        if report.crc_bad > 0 {
            remarks.push(format!("{} receptions with a bad CRC name no sender.", report.crc_bad));
        }
        if report.nameless > 0 {
            remarks.push(format!("{} frames name no sender.", report.nameless));
        }
        for (i, remark) in remarks.iter().enumerate() {
            if i == 0 {
                writeln!(out)?;
            }
            paragraph(out, self.style, "", Tone::Plain, remark)?;
        }
        Ok(())
    }
}

/// Writes a sender a line, nodes first, each as one JSON object.
///
/// # Errors
///
/// Only those of `out`.
pub fn json(report: &CaptureAirtime, out: &mut dyn fmt::Write) -> fmt::Result {
    for node in &report.nodes {
        let who = json!({
            "name": node.name,
            "dev_eui": node.dev_eui.map(crate::id::DevEui::hex),
            "dev_addr": node.dev_addr.map(crate::id::DevAddr::hex),
        });
        writeln!(out, "{}", object("node", &who, None, &node.account))?;
    }
    for gateway in &report.gateways {
        let eui = gateway.eui.map(crate::id::Eui64::hex);
        let who = json!({"name": gateway.name, "eui": eui});
        writeln!(out, "{}", object("gateway", &who, Some(gateway.refused), &gateway.account))?;
    }
    Ok(())
}

fn object(kind: &str, who: &Value, refused: Option<u64>, account: &Account) -> Value {
    let busiest = account
        .busiest()
        .map(|b| json!({"from": b.from.to_string(), "airtime_us": micros(b.airtime)}));
    let mut passed: Vec<_> = account.passed().iter().map(crate::airtime::Passed::name).collect();
    passed.dedup();
    let mut object = json!({
        "schema": crate::show::json::SCHEMA,
        kind: who,
        "region": account.plan.map(|plan| plan.name),
        "transmissions": account.transmissions,
        "receptions": account.receptions,
        "join_requests": account.requests,
        "airtime_us": micros(account.airtime),
        "longest_us": micros(account.longest),
        "untimed": account.untimed,
        "busiest_hour": busiest,
        "duty_cycle": duty(account),
        "outside_sub_bands": account.outside,
        "dwell": account.dwell().map(|dwell| json!({
            "limit_ms": dwell.limit.limit.as_millis().try_into().unwrap_or(u64::MAX),
            "in_force": if dwell.limit.while_dwell { "while-dwell-time" } else { "always" },
            "held": dwell.held,
            "over": dwell.over,
            "passed": dwell.is_passed(),
        })),
        "payload": account.oversize().map(|over| json!({
            "dr": over.dr, "M": over.most, "over": over.frames, "longest": over.longest,
        })).collect::<Vec<_>>(),
        "join_back_off": account.back_off.spans().iter().map(|span| json!({
            "span": span.name.replace(' ', "-"),
            "airtime_us": micros(span.used),
            "allowed_us": micros(span.allowed),
            "passed": span.is_passed(),
        })).collect::<Vec<_>>(),
        "passed": passed,
        "decided_by": "local rules",
    });
    if let (Some(refused), Some(members)) = (refused, object.as_object_mut()) {
        members.insert("refused".into(), refused.into());
    }
    object
}

fn duty(account: &Account) -> Vec<Value> {
    let Some(plan) = account.plan else { return Vec::new() };
    let of = |used: crate::airtime::DutyUse| {
        let range = used.band.range_hz(plan);
        let name = match used.band {
            DutyBand::SubBand(band) => band.letter.to_string(),
            DutyBand::Rule(rule) if rule.default_channels => "default-channels".into(),
            DutyBand::Rule(_) => "band".into(),
        };
        json!({
            "band": name,
            "low_hz": range.map(|r| r.0),
            "high_hz": range.map(|r| r.1),
            "per_mille": used.band.permille(),
            "transmissions": used.transmissions,
            "airtime_us": micros(used.airtime),
            "busiest_hour_us": used.busiest.map(|b| micros(b.airtime)),
            "allowed_us": micros(used.band.hourly()),
            "passed": used.is_passed(),
        })
    };
    account.duty().into_iter().map(of).collect()
}

fn dwell_words(dwell: &Dwell, longest: Duration) -> String {
    let limit = dwell.limit.limit.as_millis();
    let over = match dwell.over {
        0 => format!("none over {limit} ms"),
        n => format!("{n} over {limit} ms"),
    };
    let only = match (dwell.over, dwell.limit.while_dwell) {
        (1.., true) => "; a fault only while the network, or the country, sets this dwell limit",
        _ => "",
    };
    format!("{over}, the longest {}{only}", super::millis(longest))
}

fn seconds(time: Duration) -> String {
    let text = format!("{:.3}", time.as_secs_f64());
    format!("{} s", text.trim_end_matches('0').trim_end_matches('.'))
}

fn when(at: Timestamp) -> String {
    at.strftime("%Y-%m-%d %H:%M:%S UTC").to_string()
}

const LOCAL_RULES: &str = "Local rules decide what is allowed; the limits below are those that the \
                           regional parameters print. What no gateway heard is not counted.";

const BACK_OFF_FROM: &str = "The join back-off counts from when a node is switched on: here from the \
                             first request heard. A node that was switched off and on in between \
                             may begin again.";

//! The report of `airtime`: how long a frame is on the air, and what follows.

pub mod capture;

use std::{fmt, time::Duration};

use serde_json::json;

use crate::{
    airtime::{AirtimeReport, Rate},
    frame::Direction,
};

/// Writes the report for people.
///
/// # Errors
///
/// Only those of `out`.
pub fn text(report: &AirtimeReport, out: &mut dyn fmt::Write) -> fmt::Result {
    let query = &report.query;
    let way = match query.direction {
        Direction::Uplink => "uplink",
        Direction::Downlink => "downlink",
    };
    writeln!(
        out,
        "{} {way}, {} bytes of PHYPayload: {} on the air",
        report.modulation,
        query.phy_len,
        millis(report.airtime)
    )?;
    let dwell = if report.over_dwell {
        "longer than the 400 ms that regions with a dwell limit allow"
    } else {
        "within the 400 ms that regions with a dwell limit allow"
    };
    writeln!(out, "dwell    {dwell}")?;
    for share in &report.duty {
        writeln!(
            out,
            "duty     {} of the time: {} of silence after it, {} an hour",
            share.duty,
            seconds(share.wait),
            share.per_hour
        )?;
    }
    if let Some([first, next, day]) = report.join_requests {
        writeln!(
            out,
            "joins    as a Join-Request: {first} in the first hour after power-up, {next} in the\n         \
             next ten, {day} each day after (join back-off)"
        )?;
    }
    match (report.margin, query.snr, report.floor) {
        (Some(margin), Some(snr), Some(floor)) => {
            let side = if margin < 0.0 { "below" } else { "above" };
            let by = margin.abs();
            writeln!(out, "margin   SNR {snr} dB is {by} dB {side} the floor of {floor} dB")?;
        }
        (_, _, Some(floor)) => writeln!(out, "margin   read down to an SNR of {floor} dB")?,
        _ => {}
    }
    if let (Rate::Number { plan, dr }, Some(limit)) = (query.rate, report.max_payload) {
        let fits = if limit.exceeded {
            "\n         this one is longer: receivers discard it"
        } else {
            " fits"
        };
        writeln!(
            out,
            "size     {} DR{dr}: MACPayload of {} bytes at most (FRMPayload {}):{fits}",
            plan.name, limit.m, limit.n
        )?;
    }
    writeln!(out, "rules    local rules decide what is allowed")?;
    Ok(())
}

/// Returns the report as JSON: one object.
pub fn json(report: &AirtimeReport) -> serde_json::Value {
    let query = &report.query;
    let (region, dr) = match query.rate {
        Rate::Number { plan, dr } => (Some(plan.name), Some(dr)),
        Rate::Modulation(_) => (None, None),
    };
    let duty: Vec<_> = report
        .duty
        .iter()
        .map(|share| {
            json!({
                "per_mille": share.duty.per_mille(),
                "wait_us": micros(share.wait),
                "per_hour": share.per_hour,
            })
        })
        .collect();
    json!({
        "schema": crate::show::json::SCHEMA,
        "data_rate": report.modulation.to_string(),
        "region": region,
        "dr": dr,
        "direction": query.direction.name(),
        "phy_len": query.phy_len,
        "airtime_us": micros(report.airtime),
        "over_dwell": report.over_dwell,
        "duty_cycle": duty,
        "join_requests": report.join_requests,
        "floor_db": report.floor,
        "snr_db": query.snr,
        "margin_db": report.margin,
        "max_payload": report.max_payload.map(|l| json!({"M": l.m, "N": l.n, "exceeded": l.exceeded})),
    })
}

fn micros(time: Duration) -> u64 {
    u64::try_from(time.as_micros()).unwrap_or(u64::MAX)
}

/// Prints milliseconds to the microsecond, without useless zeros.
fn millis(time: Duration) -> String {
    let micros = micros(time);
    let text = format!("{}.{:03}", micros / 1000, micros % 1000);
    format!("{} ms", text.trim_end_matches('0').trim_end_matches('.'))
}

fn seconds(time: Duration) -> String {
    format!("{:.1} s", time.as_secs_f64())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{airtime::AirtimeQuery, region::Plan};

    fn query(rate: Rate) -> AirtimeQuery {
        AirtimeQuery {
            phy_len: 23,
            direction: Direction::Uplink,
            rate,
            duty: None,
            snr: Some(-22.5),
        }
    }

    #[test]
    fn a_join_request_at_sf12_is_told_with_all_that_follows() {
        let rate = Rate::Number { plan: Plan::by_name("EU868").unwrap(), dr: 0 };
        let report = AirtimeReport::new(query(rate)).unwrap();
        let mut shown = String::new();
        text(&report, &mut shown).unwrap();
        assert_eq!(
            shown,
            "\
SF12BW125 uplink, 23 bytes of PHYPayload: 1482.752 ms on the air
dwell    longer than the 400 ms that regions with a dwell limit allow
duty     0.1% of the time: 1481.3 s of silence after it, 2 an hour
duty     1% of the time: 146.8 s of silence after it, 24 an hour
duty     10% of the time: 13.3 s of silence after it, 242 an hour
joins    as a Join-Request: 24 in the first hour after power-up, 24 in the
         next ten, 5 each day after (join back-off)
margin   SNR -22.5 dB is 2.5 dB below the floor of -20 dB
size     EU868 DR0: MACPayload of 59 bytes at most (FRMPayload 51): fits
rules    local rules decide what is allowed
"
        );
        let shown = json(&report);
        assert_eq!((&shown["airtime_us"], &shown["dr"]), (&json!(1_482_752), &json!(0)));
        assert_eq!(shown["margin_db"], -2.5);
    }

    #[test]
    fn a_modulation_without_a_plan_says_nothing_of_one() {
        let rate = Rate::Modulation("SF7BW125".parse().unwrap());
        let report = AirtimeReport::new(query(rate)).unwrap();
        let mut shown = String::new();
        text(&report, &mut shown).unwrap();
        assert!(
            shown.starts_with("SF7BW125 uplink, 23 bytes of PHYPayload: 61.696 ms on the air\n")
        );
        assert!(!shown.contains("size"), "{shown}");
        assert_eq!(json(&report)["region"], serde_json::Value::Null);
    }

    #[test]
    fn what_cannot_be_told_says_why() {
        let tell = |rate, phy_len| {
            AirtimeReport::new(AirtimeQuery { phy_len, ..query(rate) }).unwrap_err().to_string()
        };
        let by_name = |text: &str| Rate::Modulation(text.parse().unwrap());
        assert_eq!(
            tell(by_name("SF6BW125"), 23),
            "no published formula is at hand for the time on air of SF6BW125"
        );
        assert_eq!(tell(by_name("SF7BW125"), 256), "256 bytes: a radio sends 255 at most");
        let rate = Rate::Number { plan: Plan::by_name("EU868").unwrap(), dr: 15 };
        assert_eq!(tell(rate, 23), "EU868 has no DR15 in the uplink direction");
    }
}

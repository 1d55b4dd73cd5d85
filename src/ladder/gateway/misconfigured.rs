//! What a gateway's own configuration is said to be wrong in.

use super::{
    Case, Rung,
    configured::{channels::reach, eui::Identity, legs::Stand},
};
use crate::{
    fact::{Certainty, Value, fact},
    ladder::finding::Finding,
};

pub(in crate::ladder) fn registered_under_another_eui(case: &Case<'_>) -> Option<Finding> {
    let own = case.config.as_ref()?;
    let Identity::Near(fact) = &own.identity else { return None };
    if !case.is_broken(Rung::Known) {
        return None;
    }
    let stated = own.config.eui.as_ref()?;
    let registered = own.entry?.eui;
    Some(
        Finding::new(
            // The server may know another EUI than the roster.
            Certainty::Likely,
            fact!(
                "the gateway calls itself {eui}, and is registered as {registered}",
                eui = stated.value,
                registered
            ),
            fact!(
                "copy the EUI from the running gateway into its record: {eui}, if the gateway's file is \
                 right",
                eui = stated.value
            ),
        )
        .and(fact.clone()),
    )
}

pub(in crate::ladder) fn runs_with_another_configuration(case: &Case<'_>) -> Option<Finding> {
    let own = case.config.as_ref()?;
    let Identity::NotInForce(fact) = &own.identity else { return None };
    Some(
        Finding::new(
            Certainty::Certain,
            fact!("{config} is not the configuration in force", config = own.config.name()),
            fact!(
                "look for a second file that overrides it, restart the forwarder, or fetch the file from \
                 the gateway itself"
            ),
        )
        .and(fact.clone()),
    )
}

pub(in crate::ladder) fn another_server(case: &Case<'_>) -> Option<Finding> {
    let own = case.config.as_ref()?;
    let Stand::Differs(fact) = &own.legs.server else { return None };
    if !case.is_broken(Rung::UplinkAcknowledged) {
        return None;
    }
    Some(
        Finding::new(
            Certainty::Certain,
            fact!("the gateway's file names another server than the roster"),
            fact!(
                "ask the server's operator which of the two is right, then correct server_address in the \
                 gateway's file, or the roster"
            ),
        )
        .and(fact.clone()),
    )
}

pub(in crate::ladder) fn another_port(case: &Case<'_>) -> Option<Finding> {
    let own = case.config.as_ref()?;
    let legs = [
        (Rung::UplinkAcknowledged, &own.legs.uplink, "serv_port_up"),
        (Rung::DownlinkOpen, &own.legs.downlink, "serv_port_down"),
    ];
    let mut facts = Vec::new();
    let mut members = Vec::new();
    for (rung, stand, member) in legs {
        if let Stand::Differs(fact) = stand
            && case.is_broken(rung)
        {
            facts.push(fact.clone());
            members.push(member);
        }
    }
    if facts.is_empty() {
        return None;
    }
    let members = Value::List(members.into_iter().map(Value::from).collect(), " and ");
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!("the gateway's file names another UDP port than the roster"),
        fact!(
            "ask the server's operator which port is right, then correct {members} in the gateway's \
             file, or the roster",
            members
        ),
    );
    for fact in facts {
        finding.add(fact);
    }
    Some(finding)
}

pub(in crate::ladder) fn another_region(case: &Case<'_>) -> Option<Finding> {
    let elsewhere = case.config.as_ref()?.channels.elsewhere.as_ref()?;
    (elsewhere.sub_band.is_none() && case.is_broken(Rung::OnPlan)).then(|| elsewhere.finding())
}

pub(in crate::ladder) fn another_sub_band(case: &Case<'_>) -> Option<Finding> {
    let elsewhere = case.config.as_ref()?.channels.elsewhere.as_ref()?;
    (elsewhere.sub_band.is_some() && case.is_broken(Rung::OnPlan)).then(|| elsewhere.finding())
}

pub(in crate::ladder) fn radio_does_not_reach(case: &Case<'_>) -> Option<Finding> {
    reach::finding(&case.config.as_ref()?.channels.reach)
}

pub(in crate::ladder) fn lacks_channels(case: &Case<'_>) -> Option<Finding> {
    let own = case.config.as_ref()?;
    let lacks = own.channels.lacks.as_ref()?;
    let count = u64::try_from(lacks.missing.len()).unwrap_or(u64::MAX);
    let mut finding = Finding::new(
        Certainty::Certain,
        fact!(
            "the gateway's file leaves {channels} of {plan} without a chain that receives it",
            channels = Value::Count(count, "channel"),
            plan = lacks.plan.name
        ),
        fact!("enable these chains, or set each to a channel of its own"),
    )
    .and(lacks.fact());
    lacks.why.iter().for_each(|why| finding.add(why.clone()));
    Some(finding)
}

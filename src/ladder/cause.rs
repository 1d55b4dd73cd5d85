//! The causes: one table; checks, help and documentation are made from it.

use super::{
    Rung, State, acceptable, after, answered, authentic, case::Case, fresh, heard, identified,
    on_plan, proven, sent, timely,
};

/// How sure a verdict is.
#[derive(Clone, Copy, Debug, Eq, Ord, PartialEq, PartialOrd, Hash)]
pub enum Certainty {
    /// The computation leaves no other explanation but an accident of stated odds.
    Certain,
    /// The evidence speaks for it, and something that was not captured could speak against it.
    Likely,
    /// It explains what was seen; so may other things.
    Possible,
}

impl Certainty {
    /// Returns `certain`, `likely` or `possible`.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Certain => "certain",
            Self::Likely => "likely",
            Self::Possible => "possible",
        }
    }
}

/// How sure a hit is whose odds of an accident are these.
pub(super) fn certainty_of(odds: f64) -> Certainty {
    match odds {
        odds if odds < 1e-6 => Certainty::Certain,
        odds if odds < 1e-3 => Certainty::Likely,
        _ => Certainty::Possible,
    }
}

/// What a check found.
#[derive(Clone, Debug)]
pub(super) struct Finding {
    pub(super) certainty: Certainty,
    pub(super) odds: Option<f64>,
    pub(super) summary: String,
    pub(super) evidence: Vec<String>,
    pub(super) remedy: String,
    pub(super) discreet: Option<Discreet>,
}

/// A sentence that tells digits of a key, and how to say it without them.
#[derive(Clone, Debug)]
pub(super) struct Discreet {
    pub(super) tells: String,
    pub(super) instead: String,
}

impl Finding {
    pub(super) fn new(
        certainty: Certainty,
        summary: impl Into<String>,
        remedy: impl Into<String>,
    ) -> Self {
        Self {
            certainty,
            odds: None,
            summary: summary.into(),
            evidence: Vec::new(),
            remedy: remedy.into(),
            discreet: None,
        }
    }

    pub(super) fn add(&mut self, evidence: impl Into<String>) {
        self.evidence.push(evidence.into());
    }

    /// States the odds that MICs held by accident: `tried` candidates, `frames` frames of 32 bits.
    pub(super) fn odds(mut self, tried: f64, frames: usize) -> Self {
        let bits = -32.0 * f64::from(u32::try_from(frames).unwrap_or(32).min(32));
        self.odds = Some(tried * bits.exp2());
        self
    }
}

/// One thing that can be wrong.
pub struct Cause {
    /// What users and issues quote; names what is wrong, never reused.
    pub id: &'static str,
    /// The rungs that it breaks; none for faults after the join.
    pub rungs: &'static [Rung],
    /// What is wrong, in one sentence.
    pub what: &'static str,
    /// Its page: what is seen, why, how to be sure, what to do.
    pub page: &'static str,
    /// Whether it only says that nothing more exact was found.
    residual: bool,
    check: fn(&Case<'_>) -> Option<Finding>,
}

impl std::fmt::Debug for Cause {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_tuple("Cause").field(&self.id).finish()
    }
}

impl Cause {
    /// Returns the cause of that id.
    pub fn by_id(id: &str) -> Option<&'static Self> {
        CAUSES.iter().find(|cause| cause.id == id)
    }
}

/// A cause that was found to be at work.
#[derive(Clone, Debug)]
pub struct Verdict {
    /// The cause.
    pub cause: &'static Cause,
    /// The rung that it breaks here; none for faults after the join.
    pub rung: Option<Rung>,
    /// How sure this is.
    pub certainty: Certainty,
    /// The odds that the evidence is an accident: that a key found fits by chance, or else that the
    /// frames judged are not this node's. None where no MIC was checked.
    pub odds: Option<f64>,
    /// What is wrong, of this node.
    pub summary: String,
    /// What shows it.
    pub evidence: Vec<String>,
    /// What to do.
    pub remedy: String,
    discreet: Option<Discreet>,
}

impl Verdict {
    /// Returns the verdict without the few digits of a key that its sentences may tell: which
    /// digits differ, not what they are.
    pub fn by_places(&self) -> Self {
        let mut verdict = self.clone();
        if let Some(Discreet { tells, instead }) = verdict.discreet.take() {
            let texts = [&mut verdict.summary, &mut verdict.remedy];
            for text in texts.into_iter().chain(&mut verdict.evidence) {
                *text = text.replace(&tells, &instead);
            }
        }
        verdict
    }
}

/// Returns the causes at work, the one that bites first leading.
pub(super) fn find(case: &Case<'_>) -> Vec<Verdict> {
    let mut found: Vec<(usize, Verdict)> = CAUSES
        .iter()
        .filter_map(|cause| {
            let finding = (cause.check)(case)?;
            // Of several rungs the one that is broken in this case, or else the lowest.
            let broken = cause.rungs.iter().find(|rung| case.ever(**rung, State::Broken));
            let rung = broken.or(cause.rungs.first()).copied();
            let bites = rung.map_or(usize::MAX, Rung::number);
            let Finding { certainty, odds, summary, evidence, remedy, discreet } = finding;
            // What is read off numbers is no accident; that the frames are this node's is sure as
            // far as their MICs are.
            let odds = odds.or_else(|| case.odds_of_mistaken_identity());
            let verdict =
                Verdict { cause, rung, certainty, odds, summary, evidence, remedy, discreet };
            Some((bites, verdict))
        })
        .collect();
    let firm: Vec<usize> =
        found.iter().filter(|(_, v)| !v.cause.residual).map(|(bites, _)| *bites).collect();
    // What only says that nothing better was found is silent where something better was.
    found.retain(|(bites, v)| !v.cause.residual || !firm.iter().any(|f| f <= bites));
    found.sort_by_key(|(bites, v)| (*bites, v.cause.residual, v.certainty));
    let mut lowest_residual = None;
    found.retain(|(bites, v)| {
        if !v.cause.residual {
            return true;
        }
        *lowest_residual.get_or_insert(*bites) == *bites
    });
    found.into_iter().map(|(_, v)| v).collect()
}

/// The page of the outcome `cannot-tell`, which is no cause: the evidence does not decide.
pub const CANNOT_TELL: &str = include_str!("cause/cannot-tell.md");

macro_rules! causes {
    ($($id:literal $rungs:expr, $residual:literal, $check:path, $what:literal;)*) => {
        /// Every cause, in the order of the ladder.
        pub static CAUSES: &[Cause] = &[$(Cause {
            id: $id,
            rungs: &$rungs,
            what: $what,
            page: include_str!(concat!("cause/", $id, ".md")),
            residual: $residual,
            check: $check,
        },)*];
    };
}

causes! {
    "node-silent" [Rung::Heard], true, heard::node_silent,
        "the node is known to transmit, and nothing of it was received";
    "gateway-heard-only-bad-crc" [Rung::Heard], true, heard::only_bad_crc,
        "everything received has a bad CRC";
    "channel-plans-do-not-overlap" [Rung::Heard], false, heard::channel_plans_do_not_overlap,
        "the node's channels and the gateway's have none in common";
    "gateway-filters-the-join-eui" [Rung::Heard], false, heard::filtered,
        "the gateway is set to drop requests of this JoinEUI";
    "join-request-has-the-wrong-length" [Rung::Heard], false, heard::wrong_length,
        "what the node sends as a Join-Request has not 23 octets";
    "node-transmits-in-another-region" [Rung::OnPlan], false, on_plan::another_region,
        "the node's frequencies belong to another region's plan";
    "join-request-at-an-unlawful-data-rate" [Rung::OnPlan], false, on_plan::unlawful_data_rate,
        "the data rate is not one that a join may use on this channel";
    "node-hops-outside-the-gateway-sub-band" [Rung::OnPlan], false, on_plan::outside_sub_band,
        "the node uses channels of other sub-bands than the gateway's";
    "one-channel-gateway" [], false, on_plan::one_channel_gateway,
        "the gateway receives one channel of a plan with many";
    "gateway-reports-an-inexact-frequency" [Rung::OnPlan, Rung::Answered], false, on_plan::inexact_frequency,
        "the gateway reports a frequency off the grid by a synthesiser step";
    "dev-eui-and-join-eui-exchanged" [Rung::Identified], false, identified::exchanged,
        "DevEUI and JoinEUI stand in each other's place";
    "dev-eui-bytes-reversed" [Rung::Identified], false, identified::dev_eui_reversed,
        "the DevEUI sent is the one on record read backwards";
    "join-eui-bytes-reversed" [Rung::Identified], false, identified::join_eui_reversed,
        "the JoinEUI sent is the one on record read backwards";
    "dev-eui-typed-wrong" [Rung::Identified], false, identified::dev_eui_typed,
        "the DevEUI sent differs from the one on record by a typing slip";
    "join-eui-typed-wrong" [Rung::Identified], false, identified::join_eui_typed,
        "the JoinEUI sent differs from the one on record by a typing slip";
    "two-nodes-share-one-identity" [Rung::Identified], false, identified::shared,
        "two nodes send under one DevEUI";
    "identity-not-on-record" [Rung::Identified], true, identified::not_on_record,
        "no claim resembles the identity sent";
    "node-joins-over-the-air-record-is-abp" [Rung::Authentic], false, authentic::record_is_abp,
        "the node joins over the air, the record holds session keys only";
    "app-key-bytes-reversed" [Rung::Authentic], false, authentic::app_key_reversed,
        "the MIC holds under the AppKey on record read backwards";
    "nwk-key-bytes-reversed" [Rung::Authentic], false, authentic::nwk_key_reversed,
        "the MIC holds under the NwkKey on record read backwards";
    "app-key-typed-wrong" [Rung::Authentic], false, authentic::app_key_typed,
        "the AppKey on record is a typing slip away from the one that signs";
    "nwk-key-typed-wrong" [Rung::Authentic], false, authentic::nwk_key_typed,
        "the NwkKey on record is a typing slip away from the one that signs";
    "app-key-text-taken-as-bytes" [Rung::Authentic], false, authentic::text_as_bytes,
        "the key in the node is the text of the key, not its value";
    "firmware-still-uses-a-sample-key" [Rung::Authentic], false, authentic::sample_key,
        "the node signs with a published sample key";
    "root-key-in-the-wrong-slot" [Rung::Authentic], false, authentic::wrong_slot,
        "the key that signs stands under the other root key's name";
    "session-key-entered-as-root-key" [Rung::Authentic], false, authentic::session_key,
        "a session key stands where the root key belongs";
    "key-of-another-node" [Rung::Authentic], false, authentic::another_node,
        "the MIC holds under the key of another node";
    "join-request-signed-by-another-rule" [Rung::Authentic], false, authentic::misread,
        "the root key is right, and the node computes the MIC in a way of its own";
    "root-key-unrelated" [Rung::Authentic], true, authentic::unrelated,
        "neither a claimed key nor anything near one signs the request";
    "dev-nonce-not-kept-across-power-loss" [Rung::Fresh], false, fresh::not_kept,
        "DevNonce restarted below the last one accepted";
    "dev-nonce-repeated-after-reset" [Rung::Fresh], false, fresh::repeated,
        "a DevNonce that was used before";
    "random-nonce-against-a-counting-server" [Rung::Fresh], false, fresh::random,
        "the node's DevNonces are random, the record's version wants them to grow";
    "gateway-registered-under-another-eui" [Rung::Answered], false, answered::another_eui,
        "the server knows the gateway by another EUI";
    "no-downlink-path-to-the-gateway" [Rung::Answered], false, answered::no_downlink_path,
        "the uplink flow is acknowledged, the downlink flow is not";
    "no-answer-from-the-server" [Rung::Answered], true, answered::no_answer,
        "the request is good, both directions were captured, and no accept came";
    "accept-sent-at-the-data-delay" [Rung::Timely], false, timely::slots::at_the_data_delay,
        "the accept is aimed at the data windows, 1 s or 2 s";
    "accept-sent-at-another-time" [Rung::Timely], false, timely::slots::at_another_time,
        "the accept is aimed at neither 5 s nor 6 s";
    "server-set-to-another-as923-group" [Rung::Timely], false, timely::tuned::another_group,
        "the accept's frequency is that of another AS923 group";
    "accept-on-a-frequency-the-gateway-cannot-send" [Rung::Timely], false, timely::tuned::cannot_send,
        "the accept's frequency is outside the gateway's range";
    "accept-sent-on-the-wrong-rx1-frequency" [Rung::Timely], false, timely::tuned::rx1_frequency,
        "not the RX1 frequency of the request's channel";
    "rx1-offset-applied-to-the-join-accept" [Rung::Timely], false, timely::tuned::rx1_offset,
        "RX1DROffset was applied to the accept, where it must be 0";
    "accept-sent-at-the-wrong-rx1-data-rate" [Rung::Timely], false, timely::tuned::rx1_data_rate,
        "not the RX1 data rate of the request";
    "accept-sent-on-the-wrong-rx2-frequency" [Rung::Timely], false, timely::tuned::rx2_frequency,
        "not the region's default RX2 frequency, which alone holds for a join";
    "accept-sent-with-the-wrong-rx2-data-rate" [Rung::Timely], false, timely::tuned::rx2_data_rate,
        "not the region's default RX2 data rate, which alone holds for a join";
    "downlink-polarity-not-inverted" [Rung::Timely], false, timely::tuned::polarity,
        "the accept is sent with the polarity of an uplink";
    "accept-too-long-for-the-dwell-limit" [Rung::Timely], false, timely::tuned::dwell,
        "the accept's time on air exceeds the dwell limit in force";
    "downlink-reached-the-gateway-too-late" [Rung::Sent], false, sent::too_late,
        "the datagram came to the gateway after its slot";
    "gateway-refuses-the-power-asked-for" [Rung::Sent], false, sent::power,
        "the gateway refuses the power asked for";
    "gateway-refuses-the-frequency" [Rung::Sent], false, sent::frequency,
        "the gateway refuses a lawful frequency";
    "accepts-of-nodes-joining-in-step-collide" [Rung::Sent], false, sent::collision,
        "the accept collides with those of other nodes whose requests keep step";
    "gateway-mishandles-its-counter-wrap" [Rung::Sent], false, sent::counter_wrap,
        "refused as late or early, although in time modulo 2^32";
    "gateway-counter-restarted-between-request-and-accept" [Rung::Sent], false, sent::restarted,
        "the slot belongs to a counter that is gone";
    "accept-for-another-key" [Rung::Acceptable], false, acceptable::another_key,
        "the accept opens under no key of the node";
    "accept-answers-another-attempt" [Rung::Acceptable], false, acceptable::another_attempt,
        "the accept is made for an earlier request's DevNonce";
    "server-says-1.1-node-is-1.0" [Rung::Acceptable], false, acceptable::server_says_1_1,
        "the accept was made by the 1.1 rule, the node is 1.0.x";
    "accept-made-by-another-rule" [Rung::Acceptable], false, acceptable::another_rule,
        "the accept is signed or encrypted in a way that the standard does not know";
    "accept-rule-and-opt-neg-disagree" [Rung::Acceptable], false, acceptable::opt_neg,
        "the accept is signed by one version's rule, and OptNeg names the other";
    "join-nonce-went-back" [Rung::Acceptable], false, acceptable::terms::join_nonce,
        "JoinNonce is not above the node's last";
    "cflist-type-does-not-fit-the-region" [Rung::Acceptable], false, acceptable::terms::cflist_type,
        "the CFList's type is not one of the region";
    "rx-parameters-out-of-range" [Rung::Acceptable], false, acceptable::terms::rx_parameters,
        "DLSettings or RxDelay are not lawful in the region";
    "cflist-opens-the-wrong-channels" [Rung::Proven], false, proven::away::cflist_wrong_channels,
        "the CFList leads the node away from the gateway";
    "gateway-filters-the-address" [Rung::Proven], false, proven::away::filtered,
        "the gateway is set to drop data of the address given";
    "node-ignores-1.0-fallback" [Rung::Proven], false, proven::derived::ignores_fallback,
        "OptNeg is 0, yet the node's data verifies by the 1.1 rule only";
    "session-keys-derived-by-another-rule" [Rung::Proven], false, proven::derived::another_rule,
        "the first uplink verifies under a misread derivation only";
    "data-signed-by-another-rule" [Rung::Proven], false, proven::derived::data_rule,
        "the first uplink verifies under a misread MIC only";
    "node-opens-its-window-late" [Rung::Proven], false, proven::receiving::window_late,
        "the node's own log shows its windows off";
    "node-listens-on-another-frequency" [Rung::Proven], false, proven::receiving::window_elsewhere,
        "the node's own log opens its first window off the RX1 frequency";
    "accept-sent-through-the-far-gateway" [Rung::Proven], false, proven::receiving::far_gateway,
        "a gateway with a much better margin heard the request";
    "good-accepts-not-taken-by-the-node" [Rung::Proven], true, proven::receiving::not_taken,
        "good accepts at a sound margin, and the node asks again";
    "ghost-copy-of-a-node-too-close-to-the-gateway" [], false, after::copies::ghost,
        "one transmission was received on several channels at once";
    "late-copy-replaced-the-session" [], false, after::copies::late,
        "a late copy of the request was taken for a new join";
    "abp-counter-restarted" [], false, after::counters::restarted,
        "the frame counter began anew under the same keys";
    "counter-restarted-in-a-joined-session" [], false, after::counters::restarted_after_a_join,
        "the frame counter began anew in a session that began with a join";
    "counter-used-twice" [], false, after::counters::used_twice,
        "two different frames of a session have one counter";
    "counter-upper-half-lost-at-rollover" [], false, after::counters::upper_half_lost,
        "one side lost the upper half of the counter";
    "downlink-counter-went-back" [], false, after::counters::downlink_back,
        "the downlink counter is not above the node's last";
    "application-key-out-of-step" [], false, after::payload::application_key,
        "the record's AppSKey is not the session's";
    "payload-encrypted-by-another-rule" [], false, after::payload::another_cipher,
        "the payload reads under another way of encrypting only";
    "commands-on-port-0-and-in-fopts-together" [], false, after::payload::commands_twice,
        "MAC commands in FOpts and on FPort 0 in one frame";
    "frame-size-over-the-limit" [], false, after::payload::too_long,
        "a payload is longer than its data rate allows";
    "channel-mask-refused" [], false, after::commands::mask_refused,
        "the node refuses the same LinkADRReq again and again";
    "fopts-encryption-rule-differs" [], false, after::commands::fopts_rule,
        "node and server encrypt FOpts by different rules";
    "class-c-downlink-at-the-wrong-rate" [], false, after::downlinks::class_c,
        "a class C downlink outside the RX2 in force";
    "server-forgets-the-delay-it-gave" [], false, after::downlinks::delay_forgotten,
        "data downlinks ignore the accept's RxDelay";
    "gateway-has-no-gps-time" [], false, after::downlinks::no_gps,
        "timed downlinks are refused for want of GPS time";
    "dev-addr-outside-the-servers-range" [], false, after::downlinks::foreign_address,
        "the DevAddr belongs to another NetID";
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ladder::misreading;

    #[test]
    fn every_misreading_means_a_cause_of_the_table() {
        for row in misreading::rows() {
            assert!(Cause::by_id(row.cause).is_some(), "{}: {}", row.id, row.cause);
        }
    }
}

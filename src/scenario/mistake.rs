//! The mistakes that a scene can make: one for each cause of the ladder.

use crate::{
    frame::{Direction, MacVersion},
    ladder::Cause,
    radio::Modulation,
    region::{JoinChannels, Plan, PlanKind},
};

use MacVersion::{V1_0_2, V1_0_3, V1_0_4, V1_1};

macro_rules! mistakes {
    ($($name:ident $id:literal $fits:expr, $doc:literal;)*) => {
        /// Something that goes wrong in a world that is right otherwise.
        ///
        /// Each is declared on a [`Probe`](super::Probe); whoever makes it (node, server or
        /// gateway) makes it with that probe's frames alone, as far as nature allows.
        #[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
        pub enum Mistake {
            $(#[doc = $doc] $name,)*
        }

        impl Mistake {
            /// Every mistake, in the order of the ladder.
            pub const ALL: &'static [Self] = &[$(Self::$name,)*];

            /// Returns the id of the cause that the ladder should name for it.
            pub const fn id(self) -> &'static str {
                match self { $(Self::$name => $id,)* }
            }

            /// Returns what is done wrong, in a few words.
            pub const fn what(self) -> &'static str {
                match self { $(Self::$name => $doc,)* }
            }

            /// Returns whether the mistake can be made in a plan by a node of that version.
            pub fn fits(self, plan: &Plan, version: MacVersion) -> bool {
                let fits: fn(&Plan, MacVersion) -> bool =
                    match self { $(Self::$name => $fits,)* };
                fits(plan, version)
            }
        }
    };
}

mistakes! {
    Unheard "node-silent" any,
        "the node sends, and no gateway receives it";
    DamagedOnAir "gateway-heard-only-bad-crc" any,
        "every frame reaches the gateway damaged";
    PlansApart "channel-plans-do-not-overlap" banks,
        "node and gateway are set to different sub-bands";
    LongRequest "join-request-has-the-wrong-length" any,
        "the node's Join-Request has an octet too many or too few";
    AnotherRegion "node-transmits-in-another-region" any,
        "the node follows another region's plan";
    UnlawfulJoinRate "join-request-at-an-unlawful-data-rate" has_other_rates,
        "the node asks at a data rate that no join may use";
    AllChannels "node-hops-outside-the-gateway-sub-band" banks,
        "the node hops over every channel of the plan";
    OneChannel "one-channel-gateway" many_channels,
        "the gateway receives one channel";
    InexactFrequency "gateway-reports-an-inexact-frequency" any,
        "the gateway reports what its synthesiser makes, and the server compares exactly";
    EuisExchanged "dev-eui-and-join-eui-exchanged" any,
        "DevEUI and JoinEUI are built in in each other's place";
    DevEuiReversed "dev-eui-bytes-reversed" any,
        "the DevEUI is built in backwards";
    JoinEuiReversed "join-eui-bytes-reversed" any,
        "the JoinEUI is built in backwards";
    DevEuiTyped "dev-eui-typed-wrong" any,
        "a digit of the DevEUI is typed wrong";
    JoinEuiTyped "join-eui-typed-wrong" any,
        "a digit of the JoinEUI is typed wrong";
    SharedIdentity "two-nodes-share-one-identity" any,
        "two nodes are given one identity";
    UnknownIdentity "identity-not-on-record" any,
        "the node sends a DevEUI that nobody registered";
    RecordIsAbp "node-joins-over-the-air-record-is-abp" any,
        "the record is set for ABP";
    AppKeyReversed "app-key-bytes-reversed" of_1_0,
        "the AppKey is on record backwards";
    NwkKeyReversed "nwk-key-bytes-reversed" of_1_1,
        "the NwkKey is on record backwards";
    AppKeyTyped "app-key-typed-wrong" of_1_0,
        "the AppKey is typed wrong on record";
    NwkKeyTyped "nwk-key-typed-wrong" of_1_1,
        "the NwkKey is typed wrong on record";
    KeyText "app-key-text-taken-as-bytes" of_1_0,
        "the node takes the text of its key for the key";
    SampleKey "firmware-still-uses-a-sample-key" any,
        "the node still has the key of an example";
    WrongSlot "root-key-in-the-wrong-slot" any,
        "the node signs with the key that belongs into the other field";
    SessionKeyAsRoot "session-key-entered-as-root-key" of_1_0,
        "a session key is on record in place of the root key";
    KeyOfAnother "key-of-another-node" any,
        "two nodes' keys are exchanged";
    KeyUnrelated "root-key-unrelated" any,
        "node and record have keys that have nothing in common";
    NonceNotKept "dev-nonce-not-kept-across-power-loss" counts,
        "the node counts its DevNonce from 0 again after a power cut";
    NonceRepeated "dev-nonce-repeated-after-reset" draws,
        "the node draws the same DevNonces after every reset";
    NonceRandom "random-nonce-against-a-counting-server" draws,
        "the node draws its DevNonces, the record wants them to count";
    GatewayMisregistered "gateway-registered-under-another-eui" any,
        "the gateway is registered under a mistyped EUI";
    NoDownlinkPath "no-downlink-path-to-the-gateway" any,
        "nothing from the server passes down to the gateway";
    ServerSilent "no-answer-from-the-server" any,
        "the server does not answer, for a reason of its own";
    DataDelay "accept-sent-at-the-data-delay" any,
        "the server schedules the accept at the delay of data";
    OddDelay "accept-sent-at-another-time" any,
        "the server schedules the accept when no window is open";
    OtherGroup "server-set-to-another-as923-group" as923,
        "the server follows another AS923 group";
    FrequencyOutOfRange "accept-on-a-frequency-the-gateway-cannot-send" any,
        "the server's RX2 frequency is outside the gateway's range";
    Rx1Frequency "accept-sent-on-the-wrong-rx1-frequency" many_downlinks,
        "the server takes another channel for RX1";
    Rx1Offset "rx1-offset-applied-to-the-join-accept" has_offsets,
        "the server applies RX1DROffset to the accept";
    Rx1Rate "accept-sent-at-the-wrong-rx1-data-rate" any,
        "the server takes a data rate for RX1 that no rule gives";
    Rx2Frequency "accept-sent-on-the-wrong-rx2-frequency" any,
        "the server uses the network's own RX2 frequency for the accept";
    Rx2Rate "accept-sent-with-the-wrong-rx2-data-rate" any,
        "the server uses the network's own RX2 data rate for the accept";
    Polarity "downlink-polarity-not-inverted" any,
        "downlinks go out with the polarity of uplinks";
    TooLong "accept-too-long-for-the-dwell-limit" dwells,
        "the accept carries a CFList that the dwell limit has no room for";
    TooLate "downlink-reached-the-gateway-too-late" any,
        "the server takes more than five seconds";
    PowerRefused "gateway-refuses-the-power-asked-for" any,
        "the server asks for a power that the gateway does not have";
    FrequencyRefused "gateway-refuses-the-frequency" any,
        "the gateway is set not to send on the region's frequencies";
    InStep "accepts-of-nodes-joining-in-step-collide" any,
        "three nodes on one supply ask in step";
    WrapMishandled "gateway-mishandles-its-counter-wrap" any,
        "the gateway compares times without regard to the wrap of its counter";
    GatewayRestarts "gateway-counter-restarted-between-request-and-accept" any,
        "the gateway restarts between a request and its accept";
    AcceptOtherKey "accept-for-another-key" any,
        "the server signs accepts with another key than it checks requests with";
    AnswersEarlier "accept-answers-another-attempt" of_1_1,
        "the server sends the accept that it made for the request before";
    Says1_1 "server-says-1.1-node-is-1.0" of_1_0,
        "a 1.0.x node is registered as 1.1";
    JoinNonceBack "join-nonce-went-back" counts,
        "the server counts its JoinNonces anew";
    CfListType "cflist-type-does-not-fit-the-region" one_cflist_type,
        "the accept's CFList is of the other type of plans";
    RxParameters "rx-parameters-out-of-range" any,
        "the accept's DLSettings are not lawful in the region";
    CfListChannels "cflist-opens-the-wrong-channels" banks,
        "the octets of the CFList's masks are exchanged";
    IgnoresFallback "node-ignores-1.0-fallback" of_1_1,
        "the 1.1 node derives by its own rule on a 1.0 server";
    MisreadDerivation "session-keys-derived-by-another-rule" any,
        "the node fills the block of its session keys in another way";
    WindowLate "node-opens-its-window-late" any,
        "the node counts to its windows from the wrong moment";
    FarGateway "accept-sent-through-the-far-gateway" any,
        "the server sends through the gateway that hears the node worst";
    Deaf "good-accepts-not-taken-by-the-node" any,
        "the node's receiver does not work";
    Ghost "ghost-copy-of-a-node-too-close-to-the-gateway" many_channels,
        "the node stands beside the gateway, and the server keeps the ghost";
    LateCopy "late-copy-replaced-the-session" any,
        "a second gateway is slow, and the server takes its copy for a new join";
    CounterRestarted "abp-counter-restarted" of_1_0,
        "an ABP node counts its frames from 0 again after a reset";
    CountsAnew "counter-restarted-in-a-joined-session" any,
        "a node that joined counts its frames from 0 again after a reset";
    UpperHalfLost "counter-upper-half-lost-at-rollover" of_1_0,
        "node or server keeps 16 bits of the counter";
    DownlinkBack "downlink-counter-went-back" of_1_0,
        "the server begins to count downlinks anew";
    AppKeyStale "application-key-out-of-step" of_1_0,
        "the application keeps the AppSKey of the join before";
    CommandsTwice "commands-on-port-0-and-in-fopts-together" not_1_0_4,
        "the node puts MAC commands in FOpts and on FPort 0";
    MaskRefused "channel-mask-refused" dynamic,
        "the server asks for channels that the node does not have";
    FOptsAsPublished "fopts-encryption-rule-differs" of_1_1,
        "the node encrypts FOpts by the text before the erratum";
    ClassCRate "class-c-downlink-at-the-wrong-rate" any,
        "class C downlinks go out at another rate than the session's RX2";
    DelayForgotten "server-forgets-the-delay-it-gave" any,
        "data downlinks come one second after the uplink, the accept says five";
    NoGps "gateway-has-no-gps-time" any,
        "the gateway has no GPS time, and downlinks are timed by it";
    ForeignAddress "dev-addr-outside-the-servers-range" any,
        "the server gives an address out of another network's range";
    ThinMargin "uplinks-lost-at-a-thin-margin" any,
        "the node is at the edge of the gateway's reach";
    AdrTooFar "adr-leads-out-of-range" adapts,
        "ADR takes the node to a data rate that does not reach the gateway";
    MaskAway "accepted-mask-leads-away-from-the-gateway" has_72_channels,
        "the server's mask leaves the node channels that no gateway receives";
    DutyCommand "duty-cycle-command-silences-the-node" any,
        "the server allows the node a 4096th of the time";
    AddressTyped "dev-addr-typed-wrong" of_1_0,
        "a digit of the DevAddr is typed wrong on record";
    SessionKeyTyped "session-key-typed-wrong" of_1_0,
        "a digit of the NwkSKey is typed wrong on record";
    SessionKeysSwapped "session-keys-swapped" of_1_0,
        "NwkSKey and AppSKey are on record in each other's place";
    SessionKeyUnrelated "session-key-unrelated" of_1_0,
        "the record has the NwkSKey of another session";
    DownlinkStands "downlink-counter-stands-still" any,
        "the server sends all downlinks under one counter";
    CounterLeaps "counter-gap-over-the-limit" has_gap_limit,
        "the node's counter jumps by twenty thousand";
    RejoinCountBack "rejoin-counter-went-back" of_1_1,
        "the node counts its Rejoin-Requests from 0 again";
    PortZero "port-0-payload-is-no-command" any,
        "the application sends its data on FPort 0";
    NeverAcks "confirmed-uplink-never-acknowledged" any,
        "the server drops the node's data, confirmed or not";
    AckMissing "confirmed-uplink-answered-without-ack" any,
        "the server answers confirmed uplinks with ACK 0";
    AdrAckIgnored "adr-ack-request-never-answered" any,
        "the server has nothing to say, not even to ADRACKReq";
    RequestIgnored "node-request-never-answered" any,
        "the server does not know LinkCheckReq";
    RekeyIgnored "rekey-ind-never-answered" of_1_1,
        "the server never confirms the new session";
    RekeyMissing "rekey-ind-missing" of_1_1,
        "the node does not say that it uses the new session";
    IndicationIgnored "indication-never-confirmed" of_1_1,
        "the server never confirms the node's class";
    RejoinIgnored "rejoin-never-answered" of_1_1,
        "the server does not know Rejoin-Requests";
    TimeOfUnix "device-time-in-the-wrong-epoch" knows_time,
        "DeviceTimeAns counts from 1970";
    TimeOfUtc "device-time-without-leap-seconds" knows_time,
        "DeviceTimeAns leaves out the leap seconds";
    ChannelNotGiven "uplink-on-a-channel-not-given" dynamic,
        "the node uses a channel that nobody gave it";
    RateNotGiven "uplink-at-a-rate-the-channel-does-not-allow" has_faster_rate,
        "the node sends at a data rate that its channels do not have";
    UplinkTooLong "uplink-breaks-the-dwell-limit" limits_uplinks,
        "the node goes on at SF12 under a dwell limit";
    DutyExceeded "duty-cycle-exceeded" eu868,
        "the node sends long frames every half minute";
    FewChannels "node-uses-few-of-its-channels" has_eight,
        "the node uses one of its channels";
    RateRefused "data-rate-refused" any,
        "the server asks for a data rate that there is not";
    AdrPowerRefused "power-refused" any,
        "the node does not have the power that the server asks for";
    AdrOff "adr-command-with-adr-off" any,
        "the server adapts a node that has ADR off";
    ReceiveRefused "receive-settings-refused" any,
        "the node cannot listen on the frequency that the server asks for";
    ChannelRefused "new-channel-refused" dynamic,
        "the server gives a channel outside the band";
    NoAnswer "mac-command-never-answered" any,
        "the node does not know DevStatusReq";
    UnknownCommand "command-unknown-to-the-node" of_1_0,
        "the server sends commands of a later version";
    BlockAnswers "linkadr-answers-do-not-match" of_1_0,
        "the node answers a block of LinkADRReq once, as in 1.1";
    NotApplied "accepted-setting-not-applied" adapts,
        "the node says yes to a data rate and keeps the old one";
    ForceRejoinIgnored "force-rejoin-not-followed" of_1_1,
        "the node does not know ForceRejoinReq";
    DataRx1Frequency "downlink-on-the-wrong-rx1-frequency" many_downlinks,
        "the server sends data on another frequency than RX1's";
    DataRx1Rate "downlink-at-the-wrong-rx1-data-rate" any,
        "the server sends data in RX1 at a rate that no offset gives";
    OffsetForgotten "rx1-offset-not-as-given" feels_offsets,
        "the server gives RX1DROffset and sends without it";
    DataRx2Frequency "downlink-on-the-wrong-rx2-frequency" any,
        "the server sends data on another frequency than RX2's";
    DataRx2Rate "downlink-at-the-wrong-rx2-data-rate" any,
        "the server sends data in RX2 at another rate";
    OldSettings "server-keeps-the-old-receive-settings" any,
        "the server changes RX2 and goes on as before";
    NotHeld "server-uses-settings-the-node-does-not-hold" any,
        "the server goes by settings that the node refused";
    RecordUsed "record-differs-from-the-settings-in-force" any,
        "the server sends by the record, and the node was given other settings";
    DownlinkTooLong "downlink-breaks-the-dwell-limit" limits_downlinks,
        "the server sends more than the dwell limit has room for";
    SlotMissed "class-b-downlink-outside-the-ping-slots" knows_time,
        "the server misses the node's ping slots";
    SlotChannel "class-b-downlink-on-the-wrong-channel" knows_time,
        "the server sends in ping slots on another channel";
    WrongClass "class-differs-from-the-record" any,
        "the record says class C, and the node is of class A";
    DataCollides "data-downlinks-collide" any,
        "the gateway's transmitter is taken when downlinks are due";
    DataDeaf "downlinks-not-received-by-the-node" any,
        "the node's receiver fails after the join";
    AnotherKey "downlinks-signed-with-another-key" any,
        "the server signs downlinks with another key";
    OldSession "downlink-to-an-old-session" any,
        "the server goes on in the session before";
    AnotherAddress "downlink-to-another-address" any,
        "the server puts another address into downlinks";
    RejoinNotTaken "rejoin-accept-not-taken" of_1_1,
        "the node does not open what answers its Rejoin-Request";
    ConfWrong "confirmed-counter-wrong-in-the-mic" of_1_1,
        "the server signs an ACK over another counter";
}

impl Mistake {
    /// Returns the row of the ladder's table that the mistake should trip.
    pub fn cause(self) -> Option<&'static Cause> {
        Cause::by_id(self.id())
    }

    /// Returns whether the node has its session built in, so that there is no join.
    pub const fn needs_abp(self) -> bool {
        matches!(
            self,
            Self::CounterRestarted
                | Self::UpperHalfLost
                | Self::DownlinkBack
                | Self::AddressTyped
                | Self::SessionKeyTyped
                | Self::SessionKeysSwapped
                | Self::SessionKeyUnrelated
        )
    }

    /// Returns whether it is made in a session, by the two sides' settings or what they answer.
    pub fn is_of_talk(self) -> bool {
        let place = |mistake: Self| Self::ALL.iter().position(|own| *own == mistake);
        // The last ones of the table.
        place(self) >= place(Self::ThinMargin)
    }

    /// Returns whether two gateways are needed.
    pub const fn needs_two_gateways(self) -> bool {
        matches!(self, Self::FarGateway | Self::LateCopy)
    }
}

fn any(_: &Plan, _: MacVersion) -> bool {
    true
}

fn banks(plan: &Plan, _: MacVersion) -> bool {
    plan.sub_bands > 1
}

fn dynamic(plan: &Plan, _: MacVersion) -> bool {
    plan.kind == PlanKind::Dynamic
}

fn as923(plan: &Plan, _: MacVersion) -> bool {
    plan.name.starts_with("AS923")
}

fn dwells(plan: &Plan, _: MacVersion) -> bool {
    plan.dwell.downlink_ms > 0
}

fn many_channels(plan: &Plan, _: MacVersion) -> bool {
    !matches!(plan.join.channels, JoinChannels::Common { .. })
}

fn many_downlinks(plan: &Plan, version: MacVersion) -> bool {
    many_channels(plan, version)
}

fn has_offsets(plan: &Plan, _: MacVersion) -> bool {
    plan.rx1_offset_max > 0
}

fn has_other_rates(plan: &Plan, _: MacVersion) -> bool {
    super::air::unlawful_join_rate(plan).is_some()
}

fn one_cflist_type(plan: &Plan, _: MacVersion) -> bool {
    plan.accepts_cflist_type(0) != plan.accepts_cflist_type(1)
        || !plan.accepts_cflist_type(0) && !plan.accepts_cflist_type(1)
}

fn of_1_0(_: &Plan, version: MacVersion) -> bool {
    version < V1_1
}

fn of_1_1(_: &Plan, version: MacVersion) -> bool {
    version == V1_1
}

fn not_1_0_4(_: &Plan, version: MacVersion) -> bool {
    version != V1_0_4
}

fn adapts(plan: &Plan, _: MacVersion) -> bool {
    plan.dr(Direction::Uplink, 0).is_some() && plan.listed_channels().len() > 1
}

fn has_72_channels(plan: &Plan, _: MacVersion) -> bool {
    plan.channels().len() == 72
}

fn has_eight(plan: &Plan, _: MacVersion) -> bool {
    plan.sub_bands > 1 && plan.accepts_cflist_type(1)
        || super::air::further_frequencies(plan).len() > 4
}

fn has_gap_limit(_: &Plan, version: MacVersion) -> bool {
    version < V1_0_4
}

fn knows_time(_: &Plan, version: MacVersion) -> bool {
    version >= V1_0_3
}

fn has_faster_rate(plan: &Plan, version: MacVersion) -> bool {
    let lora = matches!(plan.dr(Direction::Uplink, 6), Some(Modulation::Lora { .. }));
    lora && dynamic(plan, version) && plan.listed_channels().iter().all(|own| own.dr_max < 6)
}

fn limits_uplinks(plan: &Plan, version: MacVersion) -> bool {
    plan.dwell.tx_param_setup && plan.dwell.uplink_ms > 0 && version >= V1_0_2
}

fn limits_downlinks(plan: &Plan, version: MacVersion) -> bool {
    plan.dwell.downlink_ms > 0 && limits_uplinks(plan, version)
}

fn feels_offsets(plan: &Plan, _: MacVersion) -> bool {
    (0..6).any(|dr| super::server::felt_offset(plan, dr, 0).is_some())
}

fn eu868(plan: &Plan, _: MacVersion) -> bool {
    plan.name == "EU868"
}

fn counts(_: &Plan, version: MacVersion) -> bool {
    version.counts_dev_nonces()
}

fn draws(_: &Plan, version: MacVersion) -> bool {
    !version.counts_dev_nonces()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_mistake_is_a_cause_and_every_cause_a_mistake() {
        for mistake in Mistake::ALL {
            assert!(mistake.cause().is_some(), "{}", mistake.id());
        }
        for cause in crate::ladder::CAUSES.iter().filter(|c| !BY_HAND.contains(&c.id.name())) {
            assert!(Mistake::ALL.iter().any(|m| m.id() == cause.id.name()), "{}", cause.id);
        }
    }

    /// Causes that `own_ways.rs`, `station.rs` and `consoles.rs` of the tests make by hand: what a side
    /// computes in its own way, and what only a station's messages or a console's frequencies show.
    const BY_HAND: [&str; 10] = [
        "counter-used-twice",
        "gateway-filters-the-join-eui",
        "gateway-filters-the-address",
        "node-listens-on-another-frequency",
        "join-request-signed-by-another-rule",
        "accept-made-by-another-rule",
        "accept-rule-and-opt-neg-disagree",
        "data-signed-by-another-rule",
        "payload-encrypted-by-another-rule",
        "frame-size-over-the-limit",
    ];
}

//! The mistakes that a scene can make: one for each cause of the ladder.

use crate::{
    frame::MacVersion,
    ladder::CauseId,
    region::{JoinChannels, Plan, PlanKind},
};

use MacVersion::{V1_0_4, V1_1};

macro_rules! mistakes {
    ($($name:ident $cause:ident $fits:expr, $doc:literal;)*) => {
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

            /// Returns the cause that the ladder should name for it.
            pub const fn cause(self) -> CauseId {
                match self { $(Self::$name => CauseId::$cause,)* }
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
    Unheard NodeSilent any,
        "the node sends, and no gateway receives it";
    DamagedOnAir GatewayHeardOnlyBadCrc any,
        "every frame reaches the gateway damaged";
    PlansApart ChannelPlansDoNotOverlap banks,
        "node and gateway are set to different sub-bands";
    LongRequest JoinRequestHasTheWrongLength any,
        "the node's Join-Request has an octet too many or too few";
    AnotherRegion NodeTransmitsInAnotherRegion any,
        "the node follows another region's plan";
    UnlawfulJoinRate JoinRequestAtAnUnlawfulDataRate has_other_rates,
        "the node asks at a data rate that no join may use";
    AllChannels NodeHopsOutsideTheGatewaySubBand banks,
        "the node hops over every channel of the plan";
    OneChannel OneChannelGateway many_channels,
        "the gateway receives one channel";
    InexactFrequency GatewayReportsAnInexactFrequency any,
        "the gateway reports what its synthesiser makes, and the server compares exactly";
    EuisExchanged DevEuiAndJoinEuiExchanged any,
        "DevEUI and JoinEUI are built in in each other's place";
    DevEuiReversed DevEuiBytesReversed any,
        "the DevEUI is built in backwards";
    JoinEuiReversed JoinEuiBytesReversed any,
        "the JoinEUI is built in backwards";
    DevEuiTyped DevEuiTypedWrong any,
        "a digit of the DevEUI is typed wrong";
    JoinEuiTyped JoinEuiTypedWrong any,
        "a digit of the JoinEUI is typed wrong";
    SharedIdentity TwoNodesShareOneIdentity any,
        "two nodes are given one identity";
    UnknownIdentity IdentityNotOnRecord any,
        "the node sends a DevEUI that nobody registered";
    RecordIsAbp NodeJoinsOverTheAirRecordIsAbp any,
        "the record is set for ABP";
    AppKeyReversed AppKeyBytesReversed of_1_0,
        "the AppKey is on record backwards";
    NwkKeyReversed NwkKeyBytesReversed of_1_1,
        "the NwkKey is on record backwards";
    AppKeyTyped AppKeyTypedWrong of_1_0,
        "the AppKey is typed wrong on record";
    NwkKeyTyped NwkKeyTypedWrong of_1_1,
        "the NwkKey is typed wrong on record";
    KeyTransformed RootKeyTransformed any,
        "the key is on record inverted or rotated";
    KeyPlaceholder RootKeyOnRecordIsAPlaceholder any,
        "nobody entered the key on record: it is a placeholder";
    KeyText AppKeyTextTakenAsBytes of_1_0,
        "the node takes the text of its key for the key";
    SampleKey FirmwareStillUsesASampleKey any,
        "the node still has the key of an example";
    WrongSlot RootKeyInTheWrongSlot any,
        "the node signs with the key that belongs into the other field";
    SessionKeyAsRoot SessionKeyEnteredAsRootKey of_1_0,
        "a session key is on record in place of the root key";
    KeyOfAnother KeyOfAnotherNode any,
        "two nodes' keys are exchanged";
    KeyUnrelated RootKeyUnrelated any,
        "node and record have keys that have nothing in common";
    NonceNotKept DevNonceNotKeptAcrossPowerLoss counts,
        "the node counts its DevNonce from 0 again after a power cut";
    NonceRepeated DevNonceRepeatedAfterReset draws,
        "the node draws the same DevNonces after every reset";
    NonceRandom RandomNonceAgainstACountingServer draws,
        "the node draws its DevNonces, the record wants them to count";
    GatewayMisregistered GatewayRegisteredUnderAnotherEui any,
        "the gateway is registered under a mistyped EUI";
    NoDownlinkPath NoDownlinkPathToTheGateway any,
        "nothing from the server passes down to the gateway";
    ServerSilent NoAnswerFromTheServer any,
        "the server does not answer, for a reason of its own";
    DataDelay AcceptSentAtTheDataDelay any,
        "the server schedules the accept at the delay of data";
    OddDelay AcceptSentAtAnotherTime any,
        "the server schedules the accept when no window is open";
    OtherGroup ServerSetToAnotherAs923Group as923,
        "the server follows another AS923 group";
    FrequencyOutOfRange AcceptOnAFrequencyTheGatewayCannotSend any,
        "the server's RX2 frequency is outside the gateway's range";
    Rx1Frequency AcceptSentOnTheWrongRx1Frequency many_downlinks,
        "the server takes another channel for RX1";
    Rx1Offset Rx1OffsetAppliedToTheJoinAccept has_offsets,
        "the server applies RX1DROffset to the accept";
    Rx1Rate AcceptSentAtTheWrongRx1DataRate any,
        "the server takes a data rate for RX1 that no rule gives";
    Rx2Frequency AcceptSentOnTheWrongRx2Frequency any,
        "the server uses the network's own RX2 frequency for the accept";
    Rx2Rate AcceptSentWithTheWrongRx2DataRate any,
        "the server uses the network's own RX2 data rate for the accept";
    Polarity DownlinkPolarityNotInverted any,
        "downlinks go out with the polarity of uplinks";
    TooLong AcceptTooLongForTheDwellLimit dwells,
        "the accept carries a CFList that the dwell limit has no room for";
    TooLate DownlinkReachedTheGatewayTooLate any,
        "the server takes more than five seconds";
    PowerRefused GatewayRefusesThePowerAskedFor any,
        "the server asks for a power that the gateway does not have";
    FrequencyRefused GatewayRefusesTheFrequency any,
        "the gateway is set not to send on the region's frequencies";
    InStep AcceptsOfNodesJoiningInStepCollide any,
        "three nodes on one supply ask in step";
    WrapMishandled GatewayMishandlesItsCounterWrap any,
        "the gateway compares times without regard to the wrap of its counter";
    GatewayRestarts GatewayCounterRestartedBetweenRequestAndAccept any,
        "the gateway restarts between a request and its accept";
    AcceptOtherKey AcceptForAnotherKey any,
        "the server signs accepts with another key than it checks requests with";
    AnswersEarlier AcceptAnswersAnotherAttempt of_1_1,
        "the server sends the accept that it made for the request before";
    Says1_1 ServerSays11NodeIs10 of_1_0,
        "a 1.0.x node is registered as 1.1";
    JoinNonceBack JoinNonceWentBack counts,
        "the server counts its JoinNonces anew";
    CfListType CflistTypeDoesNotFitTheRegion one_cflist_type,
        "the accept's CFList is of the other type of plans";
    RxParameters RxParametersOutOfRange any,
        "the accept's DLSettings are not lawful in the region";
    CfListChannels CflistOpensTheWrongChannels banks,
        "the octets of the CFList's masks are exchanged";
    IgnoresFallback NodeIgnores10Fallback of_1_1,
        "the 1.1 node derives by its own rule on a 1.0 server";
    MisreadDerivation SessionKeysDerivedByAnotherRule any,
        "the node fills the block of its session keys in another way";
    WindowLate NodeOpensItsWindowLate any,
        "the node counts to its windows from the wrong moment";
    FarGateway AcceptSentThroughTheFarGateway any,
        "the server sends through the gateway that hears the node worst";
    Deaf GoodAcceptsNotTakenByTheNode any,
        "the node's receiver does not work";
    Ghost GhostCopyOfANodeTooCloseToTheGateway many_channels,
        "the node stands beside the gateway, and the server keeps the ghost";
    LateCopy LateCopyReplacedTheSession any,
        "a second gateway is slow, and the server takes its copy for a new join";
    CounterRestarted AbpCounterRestarted of_1_0,
        "an ABP node counts its frames from 0 again after a reset";
    CountsAnew CounterRestartedInAJoinedSession any,
        "a node that joined counts its frames from 0 again after a reset";
    UpperHalfLost CounterUpperHalfLostAtRollover of_1_0,
        "node or server keeps 16 bits of the counter";
    DownlinkBack DownlinkCounterWentBack of_1_0,
        "the server begins to count downlinks anew";
    AppKeyStale ApplicationKeyOutOfStep of_1_0,
        "the application keeps the AppSKey of the join before";
    CommandsTwice CommandsOnPort0AndInFoptsTogether not_1_0_4,
        "the node puts MAC commands in FOpts and on FPort 0";
    MaskRefused ChannelMaskRefused dynamic,
        "the server asks for channels that the node does not have";
    FOptsAsPublished FoptsEncryptionRuleDiffers of_1_1,
        "the node encrypts FOpts by the text before the erratum";
    ClassCRate ClassCDownlinkAtTheWrongRate any,
        "class C downlinks go out at another rate than the session's RX2";
    DelayForgotten ServerForgetsTheDelayItGave any,
        "data downlinks come one second after the uplink, the accept says five";
    NoGps GatewayHasNoGpsTime any,
        "the gateway has no GPS time, and downlinks are timed by it";
    ForeignAddress DevAddrOutsideTheServersRange any,
        "the server gives an address out of another network's range";
}

impl Mistake {
    /// Returns the id of the cause that the ladder should name for it.
    pub const fn id(self) -> &'static str {
        self.cause().name()
    }

    /// Returns whether the node has its session built in, so that there is no join.
    pub const fn needs_abp(self) -> bool {
        matches!(self, Self::CounterRestarted | Self::UpperHalfLost | Self::DownlinkBack)
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
    fn every_cause_is_a_mistake() {
        for cause in crate::ladder::CAUSES.iter().filter(|c| !BY_HAND.contains(&c.id)) {
            assert!(Mistake::ALL.iter().any(|m| m.cause() == cause.id), "{}", cause.id);
        }
    }

    /// Causes that `own_ways.rs`, `station.rs` and `consoles.rs` of the tests make by hand: what a side
    /// computes in its own way, and what only a station's messages or a console's frequencies show.
    const BY_HAND: [CauseId; 10] = [
        CauseId::CounterUsedTwice,
        CauseId::GatewayFiltersTheJoinEui,
        CauseId::GatewayFiltersTheAddress,
        CauseId::NodeListensOnAnotherFrequency,
        CauseId::JoinRequestSignedByAnotherRule,
        CauseId::AcceptMadeByAnotherRule,
        CauseId::AcceptRuleAndOptNegDisagree,
        CauseId::DataSignedByAnotherRule,
        CauseId::PayloadEncryptedByAnotherRule,
        CauseId::FrameSizeOverTheLimit,
    ];
}

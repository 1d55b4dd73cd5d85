//! The mistakes that a scene can make: one for each cause of the ladder.

use crate::{
    frame::{Direction, MacVersion},
    ladder::CauseId,
    radio::Modulation,
    region::{JoinChannels, Plan, PlanKind},
};

use MacVersion::{V1_0_2, V1_0_3, V1_0_4, V1_1};

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
        "the node's Join-Request has a byte too many or too few";
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
        "two nodes' keys are swapped";
    KeyUnrelated RootKeyUnrelated any,
        "node and record have keys that have nothing in common";
    NonceNotKept DevNonceNotKeptAcrossPowerLoss counts,
        "the node counts its DevNonce from 0 again after a power cut";
    NonceRepeated DevNonceRepeatedAfterReset draws,
        "the node draws the same DevNonces after every reset";
    NonceRandom RandomNonceAgainstACountingServer draws,
        "the node draws its DevNonces, the record expects them to count";
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
        "the server counts its JoinNonces again";
    CfListType CflistTypeDoesNotFitTheRegion one_cflist_type,
        "the accept's CFList is of the other type of plans";
    RxParameters RxParametersOutOfRange any,
        "the accept's DLSettings are not allowed in the region";
    CfListChannels CflistOpensTheWrongChannels banks,
        "the bytes of the CFList's masks are swapped";
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
        "the node stands next to the gateway, and the server keeps the ghost";
    LateCopy LateCopyReplacedTheSession any,
        "a second gateway is slow, and the server takes its copy for a new join";
    CounterRestarted AbpCounterRestarted of_1_0,
        "an ABP node counts its frames from 0 again after a reset";
    CountsAnew CounterRestartedInAJoinedSession any,
        "a node that joined counts its frames from 0 again after a reset";
    UpperHalfLost CounterUpperHalfLostAtRollover of_1_0,
        "node or server keeps 16 bits of the counter";
    DownlinkBack DownlinkCounterWentBack of_1_0,
        "the server begins to count downlinks again";
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
    ThinMargin UplinksLostAtAThinMargin any,
        "the node is at the edge of the gateway's reach";
    AdrTooFar AdrLeadsOutOfRange adapts,
        "ADR takes the node to a data rate that does not reach the gateway";
    MaskAway AcceptedMaskLeadsAwayFromTheGateway has_72_channels,
        "the server's mask leaves the node channels that no gateway receives";
    DutyCommand DutyCycleCommandSilencesTheNode any,
        "the server allows the node a 4096th of the time";
    AddressTyped DevAddrTypedWrong of_1_0,
        "a digit of the DevAddr is typed wrong on record";
    SessionKeyTyped SessionKeyTypedWrong of_1_0,
        "a digit of the NwkSKey is typed wrong on record";
    SessionKeysSwapped SessionKeysSwapped of_1_0,
        "NwkSKey and AppSKey are on record in each other's place";
    SessionKeyUnrelated SessionKeyUnrelated of_1_0,
        "the record has the NwkSKey of another session";
    DownlinkStands DownlinkCounterStandsStill any,
        "the server sends all downlinks under one counter";
    CounterLeaps CounterGapOverTheLimit has_gap_limit,
        "the node's counter jumps by twenty thousand";
    RejoinCountBack RejoinCounterWentBack of_1_1,
        "the node counts its Rejoin-Requests from 0 again";
    PortZero Port0PayloadIsNoCommand any,
        "the application sends its data on FPort 0";
    NeverAcks ConfirmedUplinkNeverAcknowledged any,
        "the server drops the node's data, confirmed or not";
    AckMissing ConfirmedUplinkAnsweredWithoutAck any,
        "the server answers confirmed uplinks with ACK 0";
    AdrAckIgnored AdrAckRequestNeverAnswered any,
        "the server has nothing to say, not even to ADRACKReq";
    RequestIgnored NodeRequestNeverAnswered any,
        "the server does not know LinkCheckReq";
    RekeyIgnored RekeyIndNeverAnswered of_1_1,
        "the server never confirms the new session";
    RekeyMissing RekeyIndMissing of_1_1,
        "the node does not say that it uses the new session";
    IndicationIgnored IndicationNeverConfirmed of_1_1,
        "the server never confirms the node's class";
    RejoinIgnored RejoinNeverAnswered of_1_1,
        "the server does not know Rejoin-Requests";
    TimeOfUnix DeviceTimeInTheWrongEpoch knows_time,
        "DeviceTimeAns counts from 1970";
    TimeOfUtc DeviceTimeWithoutLeapSeconds knows_time,
        "DeviceTimeAns leaves out the leap seconds";
    ChannelNotGiven UplinkOnAChannelNotGiven dynamic,
        "the node uses a channel that nobody gave it";
    RateNotGiven UplinkAtARateTheChannelDoesNotAllow has_faster_rate,
        "the node sends at a data rate that its channels do not have";
    UplinkTooLong UplinkBreaksTheDwellLimit limits_uplinks,
        "the node goes on at SF12 under a dwell limit";
    DutyExceeded DutyCycleExceeded eu868,
        "the node sends long frames every half minute";
    FewChannels NodeUsesFewOfItsChannels has_eight,
        "the node uses one of its channels";
    RateRefused DataRateRefused any,
        "the server asks for a data rate that there is not";
    AdrPowerRefused PowerRefused any,
        "the node does not have the power that the server asks for";
    AdrOff AdrCommandWithAdrOff any,
        "the server adapts a node that has ADR off";
    ReceiveRefused ReceiveSettingsRefused any,
        "the node cannot listen on the frequency that the server asks for";
    ChannelRefused NewChannelRefused dynamic,
        "the server gives a channel outside the band";
    NoAnswer MacCommandNeverAnswered any,
        "the node does not know DevStatusReq";
    UnknownCommand CommandUnknownToTheNode of_1_0,
        "the server sends commands of a later version";
    BlockAnswers LinkadrAnswersDoNotMatch of_1_0,
        "the node answers a block of LinkADRReq once, as in 1.1";
    NotApplied AcceptedSettingNotApplied adapts,
        "the node says yes to a data rate and keeps the old one";
    ForceRejoinIgnored ForceRejoinNotFollowed of_1_1,
        "the node does not know ForceRejoinReq";
    DataRx1Frequency DownlinkOnTheWrongRx1Frequency many_downlinks,
        "the server sends data on another frequency than RX1's";
    DataRx1Rate DownlinkAtTheWrongRx1DataRate any,
        "the server sends data in RX1 at a rate that no offset gives";
    OffsetForgotten Rx1OffsetNotAsGiven feels_offsets,
        "the server gives RX1DROffset and sends without it";
    DataRx2Frequency DownlinkOnTheWrongRx2Frequency any,
        "the server sends data on another frequency than RX2's";
    DataRx2Rate DownlinkAtTheWrongRx2DataRate any,
        "the server sends data in RX2 at another rate";
    OldSettings ServerKeepsTheOldReceiveSettings any,
        "the server changes RX2 and goes on as before";
    NotHeld ServerUsesSettingsTheNodeDoesNotHold any,
        "the server goes by settings that the node refused";
    RecordUsed RecordDiffersFromTheSettingsInForce any,
        "the server sends by the record, and the node was given other settings";
    DownlinkTooLong DownlinkBreaksTheDwellLimit limits_downlinks,
        "the server sends more than the dwell limit has room for";
    SlotMissed ClassBDownlinkOutsideThePingSlots knows_time,
        "the server misses the node's ping slots";
    SlotChannel ClassBDownlinkOnTheWrongChannel knows_time,
        "the server sends in ping slots on another channel";
    WrongClass ClassDiffersFromTheRecord any,
        "the record says class C, and the node is of class A";
    DataCollides DataDownlinksCollide any,
        "the gateway's transmitter is taken when downlinks are due";
    DataDeaf DownlinksNotReceivedByTheNode any,
        "the node's receiver fails after the join";
    AnotherKey DownlinksSignedWithAnotherKey any,
        "the server signs downlinks with another key";
    OldSession DownlinkToAnOldSession any,
        "the server goes on in the session before";
    AnotherAddress DownlinkToAnotherAddress any,
        "the server puts another address into downlinks";
    RejoinNotTaken RejoinAcceptNotTaken of_1_1,
        "the node does not open what answers its Rejoin-Request";
    ConfWrong ConfirmedCounterWrongInTheMic of_1_1,
        "the server signs an ACK over another counter";
}

impl Mistake {
    /// Returns the id of the cause that the ladder should name for it.
    pub const fn id(self) -> &'static str {
        self.cause().name()
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

//! The causes: one file each, with its id, its places, its check and its page.
//!
//! The table below lists them in the order of the ladders. Checks, help, JSON and documentation are
//! made from it.

pub(crate) mod hits;
mod places;

use super::{finding::Finding, gateway, join, rung::LadderName, session};

pub use places::Place;

/// One thing that can be wrong.
pub struct Cause {
    /// What users and issues quote; names what is wrong, never reused.
    pub id: CauseId,
    /// The ladders and rungs that it breaks.
    pub places: &'static [Place],
    /// What is wrong, in one sentence.
    pub what: &'static str,
    /// Its page: what is seen, why, how to be sure, what to do.
    pub page: &'static str,
    kind: Kind,
    checks: &'static [Check],
}

/// Whether a cause says what is wrong, or only that nothing more exact was found.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
enum Kind {
    Exact,
    /// It is left out where an exact cause explains the same rung or a lower one.
    Residual,
    /// The network does not say what it owes. Beside another fault, or where it says nothing at all,
    /// it is at most likely that this very answer is what lacks.
    Silence,
}

/// How a cause is looked for: on which ladder.
#[derive(Clone, Copy)]
enum Check {
    Gateway(fn(&gateway::Case<'_>) -> Option<Finding>),
    Join(fn(&join::Case<'_>) -> Option<Finding>),
    Session(fn(&session::Case<'_>, &session::Story<'_>) -> Option<Finding>),
}

impl std::fmt::Debug for Cause {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_tuple("Cause").field(&self.id).finish()
    }
}

impl Cause {
    /// Returns the cause of that id.
    pub fn by_id(id: &str) -> Option<&'static Self> {
        CAUSES.iter().find(|cause| cause.id.name() == id)
    }

    /// Returns the cause of that id.
    ///
    /// # Panics
    /// Never: ids and table are made from one list.
    #[expect(clippy::expect_used, reason = "the ids and the table are made from one list")]
    pub fn of(id: CauseId) -> &'static Self {
        CAUSES.iter().find(|cause| cause.id == id).expect("every id has its cause")
    }

    /// Returns whether it only says that nothing more exact was found.
    pub(in crate::ladder) fn is_residual(&self) -> bool {
        self.kind == Kind::Residual
    }

    /// Returns whether it says that the network owes an answer.
    pub(in crate::ladder) fn is_silence(&self) -> bool {
        self.kind == Kind::Silence
    }

    pub(in crate::ladder) fn on_gateway(&self, case: &gateway::Case<'_>) -> Option<Finding> {
        self.checks.iter().find_map(|check| match check {
            Check::Gateway(check) => check(case),
            Check::Join(_) | Check::Session(_) => None,
        })
    }

    pub(in crate::ladder) fn on_join(&self, case: &join::Case<'_>) -> Option<Finding> {
        self.checks.iter().find_map(|check| match check {
            Check::Join(check) => check(case),
            Check::Gateway(_) | Check::Session(_) => None,
        })
    }

    pub(in crate::ladder) fn on_session(
        &self,
        case: &session::Case<'_>,
        story: &session::Story<'_>,
    ) -> Option<Finding> {
        self.checks.iter().find_map(|check| match check {
            Check::Session(check) => check(case, story),
            Check::Gateway(_) | Check::Join(_) => None,
        })
    }

    /// Returns its places on one ladder.
    pub fn places_on(&self, ladder: LadderName) -> impl Iterator<Item = Place> {
        self.places.iter().copied().filter(move |place| place.ladder() == ladder)
    }
}

macro_rules! causes {
    ($($module:ident $variant:ident $id:literal;)*) => {
        $(mod $module;)*

        /// What names a cause: in JSON, in text, and for `explain`.
        #[derive(Clone, Copy, Debug, Eq, Hash, Ord, PartialEq, PartialOrd)]
        #[non_exhaustive]
        pub enum CauseId {
            $(#[doc = $id] $variant,)*
        }

        impl CauseId {
            /// Returns the id as it is written: `app-key-typed-wrong`.
            pub const fn name(self) -> &'static str {
                match self { $(Self::$variant => $id,)* }
            }
        }

        /// Every cause, in the order of the ladders.
        pub static CAUSES: &[Cause] = &[$($module::CAUSE,)*];
    };
}

causes! {
    server_name_not_resolved ServerNameNotResolved "server-name-not-resolved";
    gateway_silent GatewaySilent "gateway-silent";
    gateway_runs_with_another_configuration GatewayRunsWithAnotherConfiguration "gateway-runs-with-another-configuration";
    gateway_not_on_the_roster GatewayNotOnTheRoster "gateway-not-on-the-roster";
    two_gateways_share_one_eui TwoGatewaysShareOneEui "two-gateways-share-one-eui";
    another_host_speaks_for_the_gateway AnotherHostSpeaksForTheGateway "another-host-speaks-for-the-gateway";
    another_host_speaks_for_the_server AnotherHostSpeaksForTheServer "another-host-speaks-for-the-server";
    one_gateway_under_two_euis OneGatewayUnderTwoEuis "one-gateway-under-two-euis";
    server_refuses_the_gateway ServerRefusesTheGateway "server-refuses-the-gateway";
    gateway_set_to_another_server GatewaySetToAnotherServer "gateway-set-to-another-server";
    gateway_set_to_another_port GatewaySetToAnotherPort "gateway-set-to-another-port";
    server_port_closed ServerPortClosed "server-port-closed";
    server_unreachable ServerUnreachable "server-unreachable";
    server_never_answers ServerNeverAnswers "server-never-answers";
    uplink_port_unanswered UplinkPortUnanswered "uplink-port-unanswered";
    acknowledgements_later_than_the_gateway_waits AcknowledgementsLaterThanTheGatewayWaits "acknowledgements-later-than-the-gateway-waits";
    acknowledgements_lost_in_part AcknowledgementsLostInPart "acknowledgements-lost-in-part";
    acknowledgements_for_other_tokens AcknowledgementsForOtherTokens "acknowledgements-for-other-tokens";
    protocol_versions_differ ProtocolVersionsDiffer "protocol-versions-differ";
    router_config_missing RouterConfigMissing "router-config-missing";
    server_closes_the_connection ServerClosesTheConnection "server-closes-the-connection";
    gateway_never_asks_for_downlinks GatewayNeverAsksForDownlinks "gateway-never-asks-for-downlinks";
    gateway_asks_for_downlinks_too_seldom GatewayAsksForDownlinksTooSeldom "gateway-asks-for-downlinks-too-seldom";
    answers_come_from_another_address AnswersComeFromAnotherAddress "answers-come-from-another-address";
    gateway_clock_not_set GatewayClockNotSet "gateway-clock-not-set";
    gateway_statistics_in_local_time GatewayStatisticsInLocalTime "gateway-statistics-in-local-time";
    gateway_clock_drifts GatewayClockDrifts "gateway-clock-drifts";
    gateway_clock_off GatewayClockOff "gateway-clock-off";
    gateway_counter_restarted GatewayCounterRestarted "gateway-counter-restarted";
    backhaul_too_slow_for_the_windows BackhaulTooSlowForTheWindows "backhaul-too-slow-for-the-windows";
    gateway_hears_nothing GatewayHearsNothing "gateway-hears-nothing";
    gateway_forwards_nothing GatewayForwardsNothing "gateway-forwards-nothing";
    gateway_set_to_another_region GatewaySetToAnotherRegion "gateway-set-to-another-region";
    gateway_set_to_another_sub_band GatewaySetToAnotherSubBand "gateway-set-to-another-sub-band";
    gateway_radio_does_not_reach_a_channel GatewayRadioDoesNotReachAChannel "gateway-radio-does-not-reach-a-channel";
    gateway_lacks_channels_of_its_plan GatewayLacksChannelsOfItsPlan "gateway-lacks-channels-of-its-plan";
    router_config_of_another_region RouterConfigOfAnotherRegion "router-config-of-another-region";
    gateway_airtime_over_the_limit GatewayAirtimeOverTheLimit "gateway-airtime-over-the-limit";
    gateway_does_not_transmit GatewayDoesNotTransmit "gateway-does-not-transmit";
    node_silent NodeSilent "node-silent";
    gateway_heard_only_bad_crc GatewayHeardOnlyBadCrc "gateway-heard-only-bad-crc";
    channel_plans_do_not_overlap ChannelPlansDoNotOverlap "channel-plans-do-not-overlap";
    gateway_filters_the_join_eui GatewayFiltersTheJoinEui "gateway-filters-the-join-eui";
    join_request_has_the_wrong_length JoinRequestHasTheWrongLength "join-request-has-the-wrong-length";
    node_transmits_in_another_region NodeTransmitsInAnotherRegion "node-transmits-in-another-region";
    join_request_at_an_unlawful_data_rate JoinRequestAtAnUnlawfulDataRate "join-request-at-an-unlawful-data-rate";
    node_hops_outside_the_gateway_sub_band NodeHopsOutsideTheGatewaySubBand "node-hops-outside-the-gateway-sub-band";
    one_channel_gateway OneChannelGateway "one-channel-gateway";
    gateway_reports_an_inexact_frequency GatewayReportsAnInexactFrequency "gateway-reports-an-inexact-frequency";
    dev_eui_and_join_eui_exchanged DevEuiAndJoinEuiExchanged "dev-eui-and-join-eui-exchanged";
    dev_eui_bytes_reversed DevEuiBytesReversed "dev-eui-bytes-reversed";
    join_eui_bytes_reversed JoinEuiBytesReversed "join-eui-bytes-reversed";
    dev_eui_typed_wrong DevEuiTypedWrong "dev-eui-typed-wrong";
    join_eui_typed_wrong JoinEuiTypedWrong "join-eui-typed-wrong";
    two_nodes_share_one_identity TwoNodesShareOneIdentity "two-nodes-share-one-identity";
    identity_not_on_record IdentityNotOnRecord "identity-not-on-record";
    node_joins_over_the_air_record_is_abp NodeJoinsOverTheAirRecordIsAbp "node-joins-over-the-air-record-is-abp";
    app_key_bytes_reversed AppKeyBytesReversed "app-key-bytes-reversed";
    nwk_key_bytes_reversed NwkKeyBytesReversed "nwk-key-bytes-reversed";
    app_key_typed_wrong AppKeyTypedWrong "app-key-typed-wrong";
    nwk_key_typed_wrong NwkKeyTypedWrong "nwk-key-typed-wrong";
    root_key_transformed RootKeyTransformed "root-key-transformed";
    root_key_on_record_is_a_placeholder RootKeyOnRecordIsAPlaceholder "root-key-on-record-is-a-placeholder";
    app_key_text_taken_as_bytes AppKeyTextTakenAsBytes "app-key-text-taken-as-bytes";
    firmware_still_uses_a_sample_key FirmwareStillUsesASampleKey "firmware-still-uses-a-sample-key";
    root_key_in_the_wrong_slot RootKeyInTheWrongSlot "root-key-in-the-wrong-slot";
    session_key_entered_as_root_key SessionKeyEnteredAsRootKey "session-key-entered-as-root-key";
    key_of_another_node KeyOfAnotherNode "key-of-another-node";
    join_request_signed_by_another_rule JoinRequestSignedByAnotherRule "join-request-signed-by-another-rule";
    root_key_unrelated RootKeyUnrelated "root-key-unrelated";
    join_requests_forged JoinRequestsForged "join-requests-forged";
    dev_nonce_not_kept_across_power_loss DevNonceNotKeptAcrossPowerLoss "dev-nonce-not-kept-across-power-loss";
    dev_nonce_repeated_after_reset DevNonceRepeatedAfterReset "dev-nonce-repeated-after-reset";
    random_nonce_against_a_counting_server RandomNonceAgainstACountingServer "random-nonce-against-a-counting-server";
    join_request_replayed JoinRequestReplayed "join-request-replayed";
    gateway_registered_under_another_eui GatewayRegisteredUnderAnotherEui "gateway-registered-under-another-eui";
    no_downlink_path_to_the_gateway NoDownlinkPathToTheGateway "no-downlink-path-to-the-gateway";
    no_answer_from_the_server NoAnswerFromTheServer "no-answer-from-the-server";
    join_accept_replayed JoinAcceptReplayed "join-accept-replayed";
    accept_sent_at_the_data_delay AcceptSentAtTheDataDelay "accept-sent-at-the-data-delay";
    accept_sent_at_another_time AcceptSentAtAnotherTime "accept-sent-at-another-time";
    server_set_to_another_as923_group ServerSetToAnotherAs923Group "server-set-to-another-as923-group";
    accept_on_a_frequency_the_gateway_cannot_send AcceptOnAFrequencyTheGatewayCannotSend "accept-on-a-frequency-the-gateway-cannot-send";
    accept_sent_on_the_wrong_rx1_frequency AcceptSentOnTheWrongRx1Frequency "accept-sent-on-the-wrong-rx1-frequency";
    rx1_offset_applied_to_the_join_accept Rx1OffsetAppliedToTheJoinAccept "rx1-offset-applied-to-the-join-accept";
    accept_sent_at_the_wrong_rx1_data_rate AcceptSentAtTheWrongRx1DataRate "accept-sent-at-the-wrong-rx1-data-rate";
    accept_sent_on_the_wrong_rx2_frequency AcceptSentOnTheWrongRx2Frequency "accept-sent-on-the-wrong-rx2-frequency";
    accept_sent_with_the_wrong_rx2_data_rate AcceptSentWithTheWrongRx2DataRate "accept-sent-with-the-wrong-rx2-data-rate";
    downlink_polarity_not_inverted DownlinkPolarityNotInverted "downlink-polarity-not-inverted";
    accept_too_long_for_the_dwell_limit AcceptTooLongForTheDwellLimit "accept-too-long-for-the-dwell-limit";
    downlink_reached_the_gateway_too_late DownlinkReachedTheGatewayTooLate "downlink-reached-the-gateway-too-late";
    gateway_refuses_the_power_asked_for GatewayRefusesThePowerAskedFor "gateway-refuses-the-power-asked-for";
    gateway_refuses_the_frequency GatewayRefusesTheFrequency "gateway-refuses-the-frequency";
    accepts_of_nodes_joining_in_step_collide AcceptsOfNodesJoiningInStepCollide "accepts-of-nodes-joining-in-step-collide";
    gateway_mishandles_its_counter_wrap GatewayMishandlesItsCounterWrap "gateway-mishandles-its-counter-wrap";
    gateway_counter_restarted_between_request_and_accept GatewayCounterRestartedBetweenRequestAndAccept "gateway-counter-restarted-between-request-and-accept";
    accept_for_another_key AcceptForAnotherKey "accept-for-another-key";
    accept_answers_another_attempt AcceptAnswersAnotherAttempt "accept-answers-another-attempt";
    server_says_1_1_node_is_1_0 ServerSays11NodeIs10 "server-says-1.1-node-is-1.0";
    accept_made_by_another_rule AcceptMadeByAnotherRule "accept-made-by-another-rule";
    accept_rule_and_opt_neg_disagree AcceptRuleAndOptNegDisagree "accept-rule-and-opt-neg-disagree";
    join_nonce_went_back JoinNonceWentBack "join-nonce-went-back";
    cflist_type_does_not_fit_the_region CflistTypeDoesNotFitTheRegion "cflist-type-does-not-fit-the-region";
    rx_parameters_out_of_range RxParametersOutOfRange "rx-parameters-out-of-range";
    cflist_opens_the_wrong_channels CflistOpensTheWrongChannels "cflist-opens-the-wrong-channels";
    gateway_filters_the_address GatewayFiltersTheAddress "gateway-filters-the-address";
    node_ignores_1_0_fallback NodeIgnores10Fallback "node-ignores-1.0-fallback";
    session_keys_derived_by_another_rule SessionKeysDerivedByAnotherRule "session-keys-derived-by-another-rule";
    data_signed_by_another_rule DataSignedByAnotherRule "data-signed-by-another-rule";
    node_opens_its_window_late NodeOpensItsWindowLate "node-opens-its-window-late";
    node_listens_on_another_frequency NodeListensOnAnotherFrequency "node-listens-on-another-frequency";
    accept_sent_through_the_far_gateway AcceptSentThroughTheFarGateway "accept-sent-through-the-far-gateway";
    good_accepts_not_taken_by_the_node GoodAcceptsNotTakenByTheNode "good-accepts-not-taken-by-the-node";
    ghost_copy_of_a_node_too_close_to_the_gateway GhostCopyOfANodeTooCloseToTheGateway "ghost-copy-of-a-node-too-close-to-the-gateway";
    uplinks_lost_at_a_thin_margin UplinksLostAtAThinMargin "uplinks-lost-at-a-thin-margin";
    adr_leads_out_of_range AdrLeadsOutOfRange "adr-leads-out-of-range";
    accepted_mask_leads_away_from_the_gateway AcceptedMaskLeadsAwayFromTheGateway "accepted-mask-leads-away-from-the-gateway";
    duty_cycle_command_silences_the_node DutyCycleCommandSilencesTheNode "duty-cycle-command-silences-the-node";
    late_copy_replaced_the_session LateCopyReplacedTheSession "late-copy-replaced-the-session";
    dev_addr_typed_wrong DevAddrTypedWrong "dev-addr-typed-wrong";
    session_key_typed_wrong SessionKeyTypedWrong "session-key-typed-wrong";
    session_keys_swapped SessionKeysSwapped "session-keys-swapped";
    session_key_unrelated SessionKeyUnrelated "session-key-unrelated";
    abp_counter_restarted AbpCounterRestarted "abp-counter-restarted";
    counter_restarted_in_a_joined_session CounterRestartedInAJoinedSession "counter-restarted-in-a-joined-session";
    counter_used_twice CounterUsedTwice "counter-used-twice";
    counter_upper_half_lost_at_rollover CounterUpperHalfLostAtRollover "counter-upper-half-lost-at-rollover";
    downlink_counter_went_back DownlinkCounterWentBack "downlink-counter-went-back";
    downlink_counter_stands_still DownlinkCounterStandsStill "downlink-counter-stands-still";
    counter_gap_over_the_limit CounterGapOverTheLimit "counter-gap-over-the-limit";
    rejoin_counter_went_back RejoinCounterWentBack "rejoin-counter-went-back";
    application_key_out_of_step ApplicationKeyOutOfStep "application-key-out-of-step";
    payload_encrypted_by_another_rule PayloadEncryptedByAnotherRule "payload-encrypted-by-another-rule";
    port_0_payload_is_no_command Port0PayloadIsNoCommand "port-0-payload-is-no-command";
    confirmed_uplink_never_acknowledged ConfirmedUplinkNeverAcknowledged "confirmed-uplink-never-acknowledged";
    confirmed_uplink_answered_without_ack ConfirmedUplinkAnsweredWithoutAck "confirmed-uplink-answered-without-ack";
    adr_ack_request_never_answered AdrAckRequestNeverAnswered "adr-ack-request-never-answered";
    node_request_never_answered NodeRequestNeverAnswered "node-request-never-answered";
    rekey_ind_never_answered RekeyIndNeverAnswered "rekey-ind-never-answered";
    rekey_ind_missing RekeyIndMissing "rekey-ind-missing";
    indication_never_confirmed IndicationNeverConfirmed "indication-never-confirmed";
    rejoin_never_answered RejoinNeverAnswered "rejoin-never-answered";
    device_time_in_the_wrong_epoch DeviceTimeInTheWrongEpoch "device-time-in-the-wrong-epoch";
    device_time_without_leap_seconds DeviceTimeWithoutLeapSeconds "device-time-without-leap-seconds";
    commands_on_port_0_and_in_fopts_together CommandsOnPort0AndInFoptsTogether "commands-on-port-0-and-in-fopts-together";
    frame_size_over_the_limit FrameSizeOverTheLimit "frame-size-over-the-limit";
    uplink_on_a_channel_not_given UplinkOnAChannelNotGiven "uplink-on-a-channel-not-given";
    uplink_at_a_rate_the_channel_does_not_allow UplinkAtARateTheChannelDoesNotAllow "uplink-at-a-rate-the-channel-does-not-allow";
    uplink_breaks_the_dwell_limit UplinkBreaksTheDwellLimit "uplink-breaks-the-dwell-limit";
    duty_cycle_exceeded DutyCycleExceeded "duty-cycle-exceeded";
    node_uses_few_of_its_channels NodeUsesFewOfItsChannels "node-uses-few-of-its-channels";
    channel_mask_refused ChannelMaskRefused "channel-mask-refused";
    data_rate_refused DataRateRefused "data-rate-refused";
    power_refused PowerRefused "power-refused";
    adr_command_with_adr_off AdrCommandWithAdrOff "adr-command-with-adr-off";
    receive_settings_refused ReceiveSettingsRefused "receive-settings-refused";
    new_channel_refused NewChannelRefused "new-channel-refused";
    relay_configuration_refused RelayConfigurationRefused "relay-configuration-refused";
    mac_command_never_answered MacCommandNeverAnswered "mac-command-never-answered";
    command_unknown_to_the_node CommandUnknownToTheNode "command-unknown-to-the-node";
    linkadr_answers_do_not_match LinkadrAnswersDoNotMatch "linkadr-answers-do-not-match";
    accepted_setting_not_applied AcceptedSettingNotApplied "accepted-setting-not-applied";
    force_rejoin_not_followed ForceRejoinNotFollowed "force-rejoin-not-followed";
    fopts_encryption_rule_differs FoptsEncryptionRuleDiffers "fopts-encryption-rule-differs";
    class_c_downlink_at_the_wrong_rate ClassCDownlinkAtTheWrongRate "class-c-downlink-at-the-wrong-rate";
    server_forgets_the_delay_it_gave ServerForgetsTheDelayItGave "server-forgets-the-delay-it-gave";
    downlink_on_the_wrong_rx1_frequency DownlinkOnTheWrongRx1Frequency "downlink-on-the-wrong-rx1-frequency";
    downlink_at_the_wrong_rx1_data_rate DownlinkAtTheWrongRx1DataRate "downlink-at-the-wrong-rx1-data-rate";
    rx1_offset_not_as_given Rx1OffsetNotAsGiven "rx1-offset-not-as-given";
    downlink_on_the_wrong_rx2_frequency DownlinkOnTheWrongRx2Frequency "downlink-on-the-wrong-rx2-frequency";
    downlink_at_the_wrong_rx2_data_rate DownlinkAtTheWrongRx2DataRate "downlink-at-the-wrong-rx2-data-rate";
    server_keeps_the_old_receive_settings ServerKeepsTheOldReceiveSettings "server-keeps-the-old-receive-settings";
    server_uses_settings_the_node_does_not_hold ServerUsesSettingsTheNodeDoesNotHold "server-uses-settings-the-node-does-not-hold";
    record_differs_from_the_settings_in_force RecordDiffersFromTheSettingsInForce "record-differs-from-the-settings-in-force";
    downlink_breaks_the_dwell_limit DownlinkBreaksTheDwellLimit "downlink-breaks-the-dwell-limit";
    class_b_downlink_outside_the_ping_slots ClassBDownlinkOutsideThePingSlots "class-b-downlink-outside-the-ping-slots";
    class_b_downlink_on_the_wrong_channel ClassBDownlinkOnTheWrongChannel "class-b-downlink-on-the-wrong-channel";
    class_differs_from_the_record ClassDiffersFromTheRecord "class-differs-from-the-record";
    gateway_has_no_gps_time GatewayHasNoGpsTime "gateway-has-no-gps-time";
    data_downlinks_collide DataDownlinksCollide "data-downlinks-collide";
    downlinks_not_received_by_the_node DownlinksNotReceivedByTheNode "downlinks-not-received-by-the-node";
    downlinks_signed_with_another_key DownlinksSignedWithAnotherKey "downlinks-signed-with-another-key";
    downlink_to_an_old_session DownlinkToAnOldSession "downlink-to-an-old-session";
    downlink_to_another_address DownlinkToAnotherAddress "downlink-to-another-address";
    rejoin_accept_not_taken RejoinAcceptNotTaken "rejoin-accept-not-taken";
    multicast_downlink_at_the_wrong_rate MulticastDownlinkAtTheWrongRate "multicast-downlink-at-the-wrong-rate";
    multicast_outside_its_session MulticastOutsideItsSession "multicast-outside-its-session";
    multicast_to_another_address MulticastToAnotherAddress "multicast-to-another-address";
    multicast_frame_of_a_forbidden_kind MulticastFrameOfAForbiddenKind "multicast-frame-of-a-forbidden-kind";
    multicast_counter_outside_the_range MulticastCounterOutsideTheRange "multicast-counter-outside-the-range";
    multicast_keys_differ MulticastKeysDiffer "multicast-keys-differ";
    multicast_session_refused MulticastSessionRefused "multicast-session-refused";
    fragmentation_session_refused FragmentationSessionRefused "fragmentation-session-refused";
    fragmented_block_cannot_be_rebuilt FragmentedBlockCannotBeRebuilt "fragmented-block-cannot-be-rebuilt";
    fragment_parity_of_another_version FragmentParityOfAnotherVersion "fragment-parity-of-another-version";
    clock_answer_does_not_match ClockAnswerDoesNotMatch "clock-answer-does-not-match";
    clock_correction_in_the_wrong_epoch ClockCorrectionInTheWrongEpoch "clock-correction-in-the-wrong-epoch";
    firmware_image_refused FirmwareImageRefused "firmware-image-refused";
    dev_addr_outside_the_servers_range DevAddrOutsideTheServersRange "dev-addr-outside-the-servers-range";
    confirmed_counter_wrong_in_the_mic ConfirmedCounterWrongInTheMic "confirmed-counter-wrong-in-the-mic";
}

impl std::fmt::Display for CauseId {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.pad(self.name())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_cause_has_places_a_check_for_each_ladder_and_a_page() {
        for cause in CAUSES {
            assert!(!cause.places.is_empty(), "{}", cause.id);
            for place in cause.places {
                let checked = cause.checks.iter().any(|check| match check {
                    Check::Gateway(_) => place.ladder() == LadderName::Gateway,
                    Check::Join(_) => place.ladder() == LadderName::Join,
                    Check::Session(_) => place.ladder() == LadderName::Session,
                });
                assert!(checked, "{} is never looked for on the ladder {place:?}", cause.id);
            }
            assert!(cause.page.starts_with(&format!("# {}\n", cause.id)), "{}", cause.id);
            assert!(std::ptr::eq(Cause::of(cause.id), cause), "{}", cause.id);
        }
    }
}

//! The members of a claim that a source may state, and their names in the trade.

/// A member of a claim that a source may state.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub(super) enum Member {
    Name,
    DevEui,
    JoinEui,
    AppKey,
    NwkKey,
    GenAppKey,
    DevAddr,
    NetId,
    NwkSKey,
    AppSKey,
    FNwkSIntKey,
    SNwkSIntKey,
    NwkSEncKey,
    MacVersion,
    Class,
    Activation,
    Region,
    SubBand,
    ChannelMask,
}

impl Member {
    /// Returns the name of the roster's member.
    pub(super) const fn name(self) -> &'static str {
        match self {
            Self::Name => "name",
            Self::DevEui => "dev-eui",
            Self::JoinEui => "join-eui",
            Self::AppKey => "app-key",
            Self::NwkKey => "nwk-key",
            Self::GenAppKey => "gen-app-key",
            Self::DevAddr => "dev-addr",
            Self::NetId => "net-id",
            Self::NwkSKey => "nwk-s-key",
            Self::AppSKey => "app-s-key",
            Self::FNwkSIntKey => "f-nwk-s-int-key",
            Self::SNwkSIntKey => "s-nwk-s-int-key",
            Self::NwkSEncKey => "nwk-s-enc-key",
            Self::MacVersion => "mac-version",
            Self::Class => "class",
            Self::Activation => "activation",
            Self::Region => "region",
            Self::SubBand => "sub-band",
            Self::ChannelMask => "channel-mask",
        }
    }

    /// Returns whether the member is an identity or a key: two values of it are two nodes.
    pub(super) const fn is_credential(self) -> bool {
        !matches!(
            self,
            Self::Name
                | Self::NetId
                | Self::MacVersion
                | Self::Class
                | Self::Activation
                | Self::Region
                | Self::SubBand
                | Self::ChannelMask
        )
    }

    /// Returns whether each node has its own, so that no other's may stand in for it.
    pub(super) const fn is_a_nodes_own(self) -> bool {
        matches!(
            self,
            Self::Name
                | Self::DevEui
                | Self::DevAddr
                | Self::NwkSKey
                | Self::AppSKey
                | Self::FNwkSIntKey
                | Self::SNwkSIntKey
                | Self::NwkSEncKey
        )
    }
}

/// The names of the trade, without what people write differently.
pub(super) const NAMES: &[(&str, Member)] = &[
    ("deveui", Member::DevEui),
    ("deviceeui", Member::DevEui),
    ("enddeviceeui", Member::DevEui),
    ("joineui", Member::JoinEui),
    ("appeui", Member::JoinEui),
    ("applicationeui", Member::JoinEui),
    ("appkey", Member::AppKey),
    ("applicationkey", Member::AppKey),
    ("nwkkey", Member::NwkKey),
    ("networkkey", Member::NwkKey),
    ("genappkey", Member::GenAppKey),
    ("devaddr", Member::DevAddr),
    ("deviceaddr", Member::DevAddr),
    ("devaddress", Member::DevAddr),
    ("deviceaddress", Member::DevAddr),
    ("netid", Member::NetId),
    ("networkid", Member::NetId),
    ("nwkskey", Member::NwkSKey),
    ("netskey", Member::NwkSKey),
    ("nwksessionkey", Member::NwkSKey),
    ("networksessionkey", Member::NwkSKey),
    ("appskey", Member::AppSKey),
    ("appsessionkey", Member::AppSKey),
    ("applicationsessionkey", Member::AppSKey),
    ("fnwksintkey", Member::FNwkSIntKey),
    ("snwksintkey", Member::SNwkSIntKey),
    ("nwksenckey", Member::NwkSEncKey),
    ("macversion", Member::MacVersion),
    ("lorawanversion", Member::MacVersion),
    ("lorawanmacversion", Member::MacVersion),
    ("lorawanspecversion", Member::MacVersion),
    ("lorawanspecificationversion", Member::MacVersion),
    ("class", Member::Class),
    ("deviceclass", Member::Class),
    ("lorawanclass", Member::Class),
    ("lorawandeviceclass", Member::Class),
    ("activation", Member::Activation),
    ("activationmode", Member::Activation),
    ("activationtype", Member::Activation),
    ("joinmode", Member::Activation),
    ("overtheairactivation", Member::Activation),
    ("useotaa", Member::Activation),
    ("useabp", Member::Activation),
    ("region", Member::Region),
    ("lorawanregion", Member::Region),
    ("subband", Member::SubBand),
    ("channelmask", Member::ChannelMask),
    ("channelsmask", Member::ChannelMask),
    ("chmask", Member::ChannelMask),
    ("name", Member::Name),
    ("nodename", Member::Name),
    ("devicename", Member::Name),
];

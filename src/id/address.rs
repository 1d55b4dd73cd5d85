//! NetID and DevAddr: which network an address belongs to.
//!
//! A NetID is three bits of type, RFU zeros, and the network's ID. A DevAddr of such a network begins
//! with a prefix that tells the type, then NwkID, the low bits of the ID, then NwkAddr (LoRaWAN
//! Backend Interfaces).
//!
//! | type | ID bits | prefix | NwkID bits | NwkAddr bits |
//! |------|---------|--------|------------|--------------|
//! | 0 | 6 | `0` | 6 | 25 |
//! | 1 | 6 | `10` | 6 | 24 |
//! | 2 | 9 | `110` | 9 | 20 |
//! | 3 | 21 | `1110` | 11 | 17 |
//! | 4 | 21 | `11110` | 12 | 15 |
//! | 5 | 21 | `111110` | 13 | 13 |
//! | 6 | 21 | `1111110` | 15 | 10 |
//! | 7 | 21 | `11111110` | 17 | 7 |
//!
//! Two older readings are still met: the first print of the table gave types 3 and 4 one NwkID bit
//! less, and LoRaWAN 1.0.x before it made NwkID the seven low bits of any NetID.

use alloc::vec::Vec;
use core::{fmt, str::FromStr};

use super::{DevAddr, IdError, NetId};

/// One of the eight types of NetID.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct NetIdType {
    /// 0 to 7.
    pub number: u8,
    /// Bits of the ID within the NetID.
    pub id_bits: u8,
    /// Bits of the DevAddr prefix: ones and then a zero.
    pub prefix_bits: u8,
    /// NwkID bits of the DevAddr: the low bits of the ID.
    pub nwk_id_bits: u8,
    /// NwkAddr bits of the DevAddr.
    pub nwk_addr_bits: u8,
}

/// By which text a DevAddr is divided.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub enum Reading {
    /// The table of the Backend Interfaces, as corrected.
    Current,
    /// The same table as first printed: types 3 and 4 with 10 and 11 NwkID bits.
    BeforeErratum,
    /// LoRaWAN 1.0.x: bits 31..25 are the seven low bits of the NetID.
    SevenBits,
}

/// A block of DevAddrs: all that begin with the same bits.
#[derive(Clone, Copy, Debug, Eq, Hash, PartialEq)]
pub struct Block {
    first: u32,
    prefix_len: u8,
}

/// A DevAddr, divided by the corrected table.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
pub struct AddrParts {
    /// The type its prefix tells.
    pub net_id_type: NetIdType,
    /// NwkID.
    pub nwk_id: u32,
    /// NwkAddr.
    pub nwk_addr: u32,
}

impl NetIdType {
    /// Returns every type, 0 first.
    pub const fn all() -> &'static [Self; 8] {
        &TYPES
    }

    /// Returns the type of a NetID: its three most significant bits.
    pub fn of(net_id: NetId) -> Self {
        let number = net_id.get() >> TYPE_SHIFT;
        TYPES.iter().copied().find(|t| u32::from(t.number) == number).unwrap_or(TYPES[0])
    }

    /// Returns the type that a DevAddr's prefix tells; none for FF000000 to FFFFFFFF.
    pub fn of_addr(addr: DevAddr) -> Option<Self> {
        TYPES.iter().copied().find(|t| u32::from(t.number) == addr.0.leading_ones())
    }

    /// Returns the prefix, right-aligned: ones and then a zero.
    pub const fn prefix(self) -> u32 {
        (1 << self.prefix_bits) - 2
    }

    /// Returns the ID of a NetID of this type.
    pub const fn id(self, net_id: NetId) -> u32 {
        net_id.get() & ones(self.id_bits)
    }

    /// Returns how many NetIDs share one NwkID.
    pub const fn net_ids_per_nwk_id(self) -> u32 {
        1 << (self.id_bits - self.nwk_id_bits)
    }

    /// Returns the NwkID bits as the table was first printed.
    const fn misprinted_nwk_id_bits(self) -> Option<u8> {
        match self.number {
            3 => Some(10),
            4 => Some(11),
            _ => None,
        }
    }
}

impl NetId {
    /// Returns NwkID: the bits of the ID that stand in a DevAddr.
    pub fn nwk_id(self) -> u32 {
        let kind = NetIdType::of(self);
        kind.id(self) & ones(kind.nwk_id_bits)
    }

    /// Returns the bits between type and ID; they are RFU and 0 in a NetID that was assigned.
    pub fn rfu(self) -> u32 {
        let kind = NetIdType::of(self);
        (self.get() & ones(21)) >> kind.id_bits
    }

    /// Returns whether anyone may use this NetID, for experiments and private networks: 000000 and
    /// 000001.
    pub const fn is_experimental(self) -> bool {
        self.get() <= 1
    }

    /// Returns whether LoRaWAN 1.1, 6.2.3 lets anyone use this NetID: type 0, any 14 bits, then seven
    /// bits of 0000000 or 0000001.
    pub const fn is_experimental_in_1_1(self) -> bool {
        self.get() >> TYPE_SHIFT == 0 && self.get() & 0x7F <= 1
    }

    /// Returns the block of DevAddrs that this network may hand out, by one reading; none where that
    /// reading says nothing about the type.
    pub fn block(self, reading: Reading) -> Option<Block> {
        let kind = NetIdType::of(self);
        let nwk_id_bits = match reading {
            Reading::Current => kind.nwk_id_bits,
            Reading::BeforeErratum => kind.misprinted_nwk_id_bits()?,
            Reading::SevenBits => return Some(Block::new((self.get() & 0x7F) << 25, 7)),
        };
        let prefix_len = kind.prefix_bits + nwk_id_bits;
        let bits = (kind.prefix() << nwk_id_bits) | (kind.id(self) & ones(nwk_id_bits));
        Some(Block::new(bits << (32 - prefix_len), prefix_len))
    }

    /// Returns every block that some text gives this network, the corrected table first, none twice.
    pub fn blocks(self) -> Vec<(Reading, Block)> {
        let mut blocks: Vec<(Reading, Block)> = Vec::new();
        for reading in [Reading::Current, Reading::BeforeErratum, Reading::SevenBits] {
            if let Some(block) = self.block(reading)
                && blocks.iter().all(|(_, b)| *b != block)
            {
                blocks.push((reading, block));
            }
        }
        blocks
    }

    /// Returns the reading by which an address belongs to this network, if there is one.
    ///
    /// A node that roams has an address of its home network: no reading is no fault by itself.
    pub fn owns(self, addr: DevAddr) -> Option<Reading> {
        self.blocks()
            .into_iter()
            .find(|(_, block)| block.contains(addr))
            .map(|(reading, _)| reading)
    }
}

impl DevAddr {
    /// Returns the address divided by the corrected table; none for FF000000 to FFFFFFFF, which have
    /// no type.
    pub fn parts(self) -> Option<AddrParts> {
        let net_id_type = NetIdType::of_addr(self)?;
        Some(AddrParts {
            net_id_type,
            nwk_id: (self.0 >> net_id_type.nwk_addr_bits) & ones(net_id_type.nwk_id_bits),
            nwk_addr: self.0 & ones(net_id_type.nwk_addr_bits),
        })
    }

    /// Returns the NetIDs whose network may hand this address out, by the corrected table: one for
    /// types 0 to 2, 16 to 1024 for the others.
    pub fn net_ids(self) -> impl Iterator<Item = NetId> {
        self.parts().into_iter().flat_map(|parts| {
            let kind = parts.net_id_type;
            (0..kind.net_ids_per_nwk_id()).filter_map(move |high| {
                let id = (high << kind.nwk_id_bits) | parts.nwk_id;
                NetId::new((u32::from(kind.number) << TYPE_SHIFT) | id)
            })
        })
    }

    /// Returns the seven most significant bits: NwkID in LoRaWAN 1.0.x, AddrPrefix in 1.0.4.
    pub const fn top_seven_bits(self) -> u32 {
        self.0 >> 25
    }

    /// Returns whether anyone may use this address: 00000000 to 03FFFFFF (LoRaWAN 1.0.4, p. 43).
    pub const fn is_experimental(self) -> bool {
        self.top_seven_bits() <= 1
    }
}

impl Block {
    /// Returns the block of addresses that share so many leading bits with `first`; 32 bits at most.
    pub fn new(first: u32, prefix_len: u8) -> Self {
        let prefix_len = prefix_len.min(32);
        Self { first: first & !ones(32 - prefix_len), prefix_len }
    }

    /// Returns the lowest address.
    pub const fn first(self) -> DevAddr {
        DevAddr(self.first)
    }

    /// Returns the highest address.
    pub const fn last(self) -> DevAddr {
        DevAddr(self.first | ones(32 - self.prefix_len))
    }

    /// Returns how many leading bits the addresses share.
    pub const fn prefix_len(self) -> u8 {
        self.prefix_len
    }

    /// Returns whether an address lies in the block.
    pub const fn contains(self, addr: DevAddr) -> bool {
        self.first <= addr.0 && addr.0 <= self.last().0
    }
}

impl fmt::Display for Block {
    /// Prints the first address and the number of bits: `02000000/7`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:08X}/{}", self.first, self.prefix_len)
    }
}

/// Why a text is no block of addresses.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum BlockError {
    /// No slash.
    #[error("no block such as 02000000/7: there is no slash")]
    NoSlash,
    /// The address before the slash.
    #[error(transparent)]
    Address(#[from] IdError),
    /// The number after the slash.
    #[error("after the slash a number from 0 to 32 is expected")]
    Bits,
    /// Bits of the address beyond the prefix.
    #[error("the address has bits beyond the first {prefix_len}")]
    StrayBits {
        /// Bits of the prefix.
        prefix_len: u8,
    },
}

impl FromStr for Block {
    type Err = BlockError;

    fn from_str(text: &str) -> Result<Self, BlockError> {
        let (addr, bits) = text.split_once('/').ok_or(BlockError::NoSlash)?;
        let addr: DevAddr = addr.parse()?;
        let prefix_len = bits.parse().ok().filter(|bits| *bits <= 32).ok_or(BlockError::Bits)?;
        let block = Self::new(addr.0, prefix_len);
        if block.first == addr.0 { Ok(block) } else { Err(BlockError::StrayBits { prefix_len }) }
    }
}

impl fmt::Display for Reading {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Current => "by the corrected table",
            Self::BeforeErratum => "by the table before its erratum",
            Self::SevenBits => "by the seven low bits of LoRaWAN 1.0.x",
        })
    }
}

/// Returns so many ones, right-aligned.
const fn ones(bits: u8) -> u32 {
    if bits >= 32 { u32::MAX } else { (1 << bits) - 1 }
}

const TYPE_SHIFT: u32 = 21;

const fn net_id_type(number: u8, id_bits: u8, nwk_id_bits: u8, nwk_addr_bits: u8) -> NetIdType {
    NetIdType { number, id_bits, prefix_bits: number + 1, nwk_id_bits, nwk_addr_bits }
}

static TYPES: [NetIdType; 8] = [
    net_id_type(0, 6, 6, 25),
    net_id_type(1, 6, 6, 24),
    net_id_type(2, 9, 9, 20),
    net_id_type(3, 21, 11, 17),
    net_id_type(4, 21, 12, 15),
    net_id_type(5, 21, 13, 13),
    net_id_type(6, 21, 15, 10),
    net_id_type(7, 21, 17, 7),
];

#[cfg(test)]
mod tests {
    use super::*;

    fn net_id(text: &str) -> NetId {
        text.parse().unwrap()
    }

    fn addr(text: &str) -> DevAddr {
        text.parse().unwrap()
    }

    #[test]
    fn every_row_sums_to_32_bits() {
        for (i, kind) in (0u8..).zip(TYPES) {
            assert_eq!(kind.number, i);
            assert_eq!(kind.prefix_bits + kind.nwk_id_bits + kind.nwk_addr_bits, 32);
            assert!(kind.nwk_id_bits <= kind.id_bits);
        }
        assert_eq!(TYPES[7].prefix(), 0xFE);
    }

    #[test]
    fn a_net_id_of_type_0_has_one_block() {
        let block = net_id("000001").block(Reading::Current).unwrap();
        assert_eq!(block.to_string(), "02000000/7");
        assert_eq!(block.last(), addr("03FFFFFF"));
        assert_eq!(net_id("000001").owns(addr("0201BBDA")), Some(Reading::Current));
        assert_eq!(net_id("000001").owns(addr("04000000")), None);
        assert_eq!(addr("0201BBDA").net_ids().collect::<Vec<_>>(), [net_id("000001")]);
    }

    #[test]
    fn the_erratum_moved_types_3_and_4() {
        let id = net_id("7FFFA5");
        let texts: Vec<_> = id.blocks().iter().map(|(r, b)| format!("{b} {r:?}")).collect();
        assert_eq!(
            texts,
            ["EF4A0000/15 Current", "EE940000/14 BeforeErratum", "4A000000/7 SevenBits"]
        );
        assert_eq!(id.owns(addr("EE940001")), Some(Reading::BeforeErratum));
        let id = net_id("9FFFA5");
        assert_eq!(id.block(Reading::Current).unwrap().to_string(), "F7D28000/17");
        assert_eq!(id.block(Reading::BeforeErratum).unwrap().to_string(), "F7A50000/16");
        assert_eq!(net_id("BFFFA5").block(Reading::BeforeErratum), None);
    }

    #[test]
    fn old_nodes_take_the_seven_low_bits_of_any_net_id() {
        assert_eq!(net_id("20003F").owns(addr("7E000001")), Some(Reading::SevenBits));
        // for type 0 both readings are the same block, told once
        assert_eq!(net_id("000000").blocks().len(), 1);
        // type 0 has one bit less of NwkID than the seven, but its prefix is a zero
        assert_eq!(
            net_id("000001").block(Reading::SevenBits),
            net_id("000001").block(Reading::Current)
        );
    }

    #[test]
    fn every_address_belongs_to_each_of_its_net_ids() {
        for text in [
            "00000000", "80000001", "C1234567", "E1234567", "F1234567", "F9234567", "FD234567",
            "FE234567",
        ] {
            let address = addr(text);
            let parts = address.parts().unwrap();
            let ids: Vec<_> = address.net_ids().collect();
            assert_eq!(ids.len(), parts.net_id_type.net_ids_per_nwk_id() as usize, "{text}");
            for id in ids {
                assert_eq!(id.owns(address), Some(Reading::Current), "{text} {id}");
                assert_eq!((id.nwk_id(), id.rfu()), (parts.nwk_id, 0));
            }
        }
        assert_eq!(addr("FF000000").parts(), None);
        assert_eq!(addr("FF000000").net_ids().count(), 0);
    }

    #[test]
    fn experimental_networks_are_known() {
        assert!(net_id("000001").is_experimental() && !net_id("000002").is_experimental());
        assert!(net_id("012301").is_experimental_in_1_1() == (0x2301 & 0x7F <= 1));
        assert!(
            net_id("012380").is_experimental_in_1_1() && !net_id("212380").is_experimental_in_1_1()
        );
        assert!(addr("03FFFFFF").is_experimental() && !addr("04000000").is_experimental());
        assert_eq!(net_id("001000").rfu(), 0x1000 >> 6);
    }

    #[test]
    fn a_block_reads_what_it_prints() {
        for text in ["02000000/7", "00000000/0", "0201BBDA/32", "FE000080/25"] {
            assert_eq!(text.parse::<Block>().unwrap().to_string(), text);
        }
        assert_eq!("02000001/7".parse::<Block>(), Err(BlockError::StrayBits { prefix_len: 7 }));
        assert_eq!("02000000/33".parse::<Block>(), Err(BlockError::Bits));
        assert_eq!("02000000".parse::<Block>(), Err(BlockError::NoSlash));
        assert!(matches!("02/7".parse::<Block>(), Err(BlockError::Address(_))));
    }
}

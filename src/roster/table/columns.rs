//! Columns of a table and members of JSON: their names in the trade, and how a value is read.

use zeroize::Zeroizing;

use super::{
    Row, TableFault, TableFaultKind,
    values::{self, Wrong},
};
use crate::roster::claim::{Activation, Class};

/// A column: its names without case and separators, and how a field is read.
pub(super) struct Column {
    names: &'static [&'static str],
    read: fn(&mut Row, &str) -> Result<(), Wrong>,
    kind: ColumnKind,
}

/// What a column is.
#[derive(Clone, Copy, Debug, Eq, PartialEq)]
enum ColumnKind {
    /// What people call the node. Of several the first counts, the others are ids.
    Name,
    Member,
    /// A member whose name is used for other things, too: a value that cannot be read is then none.
    Vague,
}

/// Returns the column of a name.
pub(super) fn named(name: &str) -> Option<&'static Column> {
    let bare: String = name
        .chars()
        .filter(char::is_ascii_alphanumeric)
        .map(|c| c.to_ascii_lowercase())
        .take(LONGEST + 1)
        .collect();
    COLUMNS.iter().find(|column| column.names.contains(&bare.as_str()))
}

/// Whether a name is that of a key, behind which JSON may have an object with the value in it.
pub(super) fn is_member(name: &str) -> bool {
    named(name).is_some_and(|column| column.kind == ColumnKind::Member)
}

/// A row, and what it was filled from.
pub(super) struct Filled {
    row: Row,
    taken: Vec<Taken>,
}

/// A column that was taken, and what its field was.
struct Taken {
    names: &'static [&'static str],
    column: String,
    bare: Zeroizing<String>,
}

impl Filled {
    pub(super) fn at(line: usize) -> Self {
        Self { row: Row { line, ..Row::default() }, taken: Vec::new() }
    }

    /// Puts a field where it belongs. A second column of one member may say the same.
    pub(super) fn fill(
        &mut self,
        column: &'static Column,
        name: &str,
        text: &str,
        line: usize,
        faults: &mut Vec<TableFault>,
    ) {
        if values::is_nothing(text) {
            return;
        }
        let bare = values::bare(text);
        let known = self.taken.iter().find(|taken| taken.names == column.names);
        let read = match known {
            Some(taken) if taken.bare == bare => return,
            Some(_) if column.kind == ColumnKind::Name => {
                self.row.id.get_or_insert_with(|| text.to_owned());
                return;
            }
            Some(_) if column.kind == ColumnKind::Vague => return,
            Some(taken) => Err(TableFaultKind::Contradicts { first: taken.column.clone() }),
            None => (column.read)(&mut self.row, text),
        };
        match read {
            Ok(()) => {
                let (names, column) = (column.names, name.to_owned());
                self.taken.push(Taken { names, column, bare });
            }
            Err(_) if column.kind == ColumnKind::Vague => {}
            Err(kind) => faults.push(TableFault { line, column: name.to_owned(), kind }),
        }
    }

    /// Returns the row; an id that is alone is the name.
    pub(super) fn finish(mut self) -> Row {
        if self.row.name.is_none() {
            self.row.name = self.row.id.take();
        }
        self.row
    }
}

macro_rules! columns {
    ($($kind:ident $names:expr => |$row:ident, $text:ident| $read:expr;)*) => {
        &[$(Column {
            names: &$names,
            read: |$row, $text| {
                $read;
                Ok(())
            },
            kind: ColumnKind::$kind,
        },)*]
    };
}

static COLUMNS: &[Column] = columns! {
    Name ["name", "nodename", "devicename", "enddevicename"] => |row, t| {
        row.name = Some(values::name(t)?);
    };
    Name ["id", "deviceid", "devid", "enddeviceid", "nodeid", "node", "device"] => |row, t| {
        row.id = Some(values::name(t)?);
    };
    Member ["deveui", "deviceeui", "enddeviceeui", "hwdeveui"] => |row, t| {
        row.claim.dev_eui = Some(values::id(t)?);
    };
    Member ["joineui", "appeui", "applicationeui"] => |row, t| {
        row.claim.join_eui = Some(values::id(t)?);
    };
    Member ["appkey", "applicationkey"] => |row, t| row.claim.app_key = Some(values::key(t)?);
    Member ["nwkkey", "networkkey"] => |row, t| row.claim.nwk_key = Some(values::key(t)?);
    Member ["genappkey"] => |row, t| row.claim.gen_app_key = Some(values::key(t)?);
    Member ["devaddr", "deviceaddress", "devaddress"] => |row, t| {
        row.claim.dev_addr = Some(values::id(t)?);
    };
    Member ["netid", "networkid"] => |row, t| row.claim.net_id = Some(values::id(t)?);
    Member ["nwkskey", "networksessionkey", "nwksessionkey"] => |row, t| {
        row.claim.nwk_s_key = Some(values::key(t)?);
    };
    Member ["appskey", "applicationsessionkey", "appsessionkey"] => |row, t| {
        row.claim.app_s_key = Some(values::key(t)?);
    };
    Member ["fnwksintkey"] => |row, t| row.claim.f_nwk_s_int_key = Some(values::key(t)?);
    Member ["snwksintkey"] => |row, t| row.claim.s_nwk_s_int_key = Some(values::key(t)?);
    Member ["nwksenckey"] => |row, t| row.claim.nwk_s_enc_key = Some(values::key(t)?);
    Member ["region", "band", "frequencyplan", "frequencyplanid", "regionname", "regionid"] => |row, t| {
        let (plan, sub_band) = values::region(t)?;
        row.claim.region = Some(plan);
        row.claim.sub_band = row.claim.sub_band.or(sub_band);
    };
    Member ["macversion", "lorawanversion", "lorawanmacversion"] => |row, t| {
        row.claim.mac_version = Some(values::version(t)?);
    };
    Vague ["version"] => |row, t| {
        row.claim.mac_version = Some(row.claim.mac_version.map_or_else(|| values::version(t), Ok)?);
    };
    Vague ["lorawanphyversion", "phyversion", "regparamsrevision", "regionalparameters"] => |row, t| {
        row.claim.regional_parameters = Some(values::name(t)?);
    };
    Member ["class", "deviceclass"] => |row, t| row.claim.class = Some(values::class(t)?);
    Vague ["supportsclassb"] => |row, t| {
        if values::flag(t)? {
            row.claim.class = row.claim.class.or(Some(Class::B));
        }
    };
    Vague ["supportsclassc"] => |row, t| {
        if values::flag(t)? {
            row.claim.class = Some(Class::C);
        }
    };
    Member ["activation", "activationmode", "activationtype", "joinmode"] => |row, t| {
        row.claim.activation = Some(values::activation(t)?);
    };
    Vague ["supportsjoin", "supportsotaa", "isotaa", "otaa"] => |row, t| {
        let activation = if values::flag(t)? { Activation::Otaa } else { Activation::Abp };
        row.claim.activation = row.claim.activation.or(Some(activation));
    };
    Member ["subband"] => |row, t| row.claim.sub_band = Some(values::sub_band(t)?);
    Member ["channelmask"] => |row, t| row.claim.channel_mask = Some(values::mask(t)?);
    Member ["lastdevnonce"] => |row, t| row.claim.last_dev_nonce = Some(values::nonce(t)?);
    Member ["useddevnonces", "devnonces"] => |row, t| {
        row.claim.used_dev_nonces = values::nonces(t)?;
    };
};

/// Letters and digits of the longest name, and more.
const LONGEST: usize = 32;

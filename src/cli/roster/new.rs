//! `handfast roster new`: fresh credentials, in every form that the two ends need.

use std::{collections::BTreeSet, path::PathBuf};

use clap::Args;

use super::{
    super::{Failure, Screen, claims, values},
    made::{Made, plain},
};
use crate::{
    frame::MacVersion,
    id::JoinEui,
    region::Plan,
    roster::{
        firmware::ByteOrder,
        fresh::{self, Common, Fresh},
        written,
    },
    words::{Count, Visible, is_key_shaped},
};

/// Make fresh credentials, and write them in every form that the two ends need
///
/// Keys and identifiers come from the system's random numbers. The directory holds roster.toml (both
/// ends and the label), records.csv for a server, labels.txt (TR005), and a C header a node. All of it is
/// for its owner alone, and no file is replaced.
#[derive(Args, Clone, Debug)]
#[command(after_help = "Examples:
  handfast roster new probe-09 --output probe-09
  handfast roster new probe-09 probe-10 --output spring --region EU868 \\
    --dev-eui-prefix 020000FFFE --join-eui 02-00-00-FF-FE-00-FF-FF \\
    --byte-order msb

Without --dev-eui-prefix a DevEUI is from the range that nobody assigns (02-...):
unique by chance alone. A maker with a block of EUIs gives its prefix.")]
pub struct NewArgs {
    /// What the nodes are called
    #[arg(required = true, value_name = "NAME", value_parser = name)]
    pub names: Vec<String>,
    /// The directory to write into; no file of it is replaced
    #[arg(long, value_name = "DIR")]
    pub output: PathBuf,
    /// The first bytes of each DevEUI, in hex: one to five of them
    #[arg(long, value_name = "HEX", value_parser = prefix)]
    pub dev_eui_prefix: Option<Prefix>,
    /// The JoinEUI; one is made where none is given
    #[arg(long, value_name = "EUI", value_parser = values::join_eui)]
    pub join_eui: Option<JoinEui>,
    /// LoRaWAN version of node and record: 1.0.2, 1.0.3, 1.0.4, 1.1
    #[arg(long, value_name = "VERSION", default_value = "1.0.4", value_parser = values::mac_version)]
    pub mac_version: MacVersion,
    /// The roster's region, such as EU868
    #[arg(long, value_name = "NAME", value_parser = values::plan)]
    pub region: Option<&'static Plan>,
    /// Byte order of the EUIs in the headers: lsb (as on the air) or msb (as printed); names say which
    #[arg(long, value_name = "ORDER", default_value = "lsb", value_parser = claims::order)]
    pub byte_order: ByteOrder,
}

/// The first bytes of a DevEUI.
#[derive(Clone, Debug)]
pub struct Prefix(Vec<u8>);

/// Bytes of a prefix at the most: three are left to chance, and to 16 million nodes.
const LONGEST_PREFIX: usize = 5;

fn prefix(text: &str) -> Result<Prefix, String> {
    let digits: String = text.chars().filter(|c| !matches!(c, '-' | ':' | ' ')).collect();
    let octets = hex::decode(digits).ok();
    let fits = |octets: &Vec<u8>| (1..=LONGEST_PREFIX).contains(&octets.len());
    octets
        .filter(fits)
        .map(Prefix)
        .ok_or_else(|| "one to five bytes in hex, such as 020000FFFE".into())
}

fn name(text: &str) -> Result<String, String> {
    let name = text.trim();
    if name.is_empty() || name.chars().any(char::is_control) {
        return Err("a name, without control characters".into());
    }
    if is_key_shaped(name) {
        return Err("a name, and this has the shape of a key; it is not repeated here".into());
    }
    Ok(name.to_owned())
}

/// Runs `roster new`.
///
/// # Errors
/// [`Failure`] when a name stands twice, the system has no random numbers, or a file cannot be written.
pub(super) fn run(args: &NewArgs, screen: &mut Screen) -> Result<(), Failure> {
    let mut files = BTreeSet::new();
    if let Some(twice) = args.names.iter().find(|name| !files.insert(plain(name).to_lowercase())) {
        let words = format!("{twice}: another node has this name, or one that makes the same file");
        return Err(Failure::Report(words));
    }
    let (common, nodes) = draw(args).map_err(|error| {
        Failure::Report(format!("the system has no random numbers: {error}; nothing was written"))
    })?;
    let mut made = Made::default();
    if let Err(words) = write(args, &common, &nodes, &mut made) {
        made.undo();
        return Err(Failure::Report(words));
    }
    for node in &nodes {
        screen.word("note", &format!("{}: DevEUI {}", node.name, node.dev_eui));
    }
    if args.join_eui.is_none() {
        let words = format!(
            "JoinEUI {} was made; where your join server has one, give it with --join-eui",
            common.join_eui
        );
        screen.word("note", &words);
    }
    let words = format!(
        "{} in {}: {}, for their owner alone; they hold keys",
        Count(nodes.len(), "node"),
        Visible::path(&args.output),
        Count(made.count(), "file")
    );
    screen.word("note", &words);
    Ok(())
}

fn draw(args: &NewArgs) -> Result<(Common, Vec<Fresh>), getrandom::Error> {
    let local = [fresh::LOCAL];
    let join_eui = match args.join_eui {
        Some(join_eui) => join_eui,
        None => JoinEui(fresh::eui(&local, getrandom::fill)?),
    };
    let prefix = args.dev_eui_prefix.as_ref().map_or_else(|| local.to_vec(), |own| own.0.clone());
    let (mac_version, region) = (args.mac_version, args.region);
    let common = Common { prefix, join_eui, mac_version, region };
    let mut nodes: Vec<Fresh> = Vec::with_capacity(args.names.len());
    for name in &args.names {
        // Short rests of a prefix may meet.
        let node = loop {
            let node = Fresh::draw(name, &common, getrandom::fill)?;
            let is_new = nodes.iter().all(|other| other.dev_eui != node.dev_eui);
            if is_new && node.dev_eui.0 != join_eui.0 {
                break node;
            }
        };
        nodes.push(node);
    }
    Ok((common, nodes))
}

fn write(args: &NewArgs, common: &Common, nodes: &[Fresh], made: &mut Made) -> Result<(), String> {
    made.directory(&args.output)?;
    let own: Vec<_> = nodes.iter().map(|node| node.node(common)).collect();
    let roster = written::toml::<String>(args.region, &own, |_| Ok(None))?;
    made.write(&args.output.join("roster.toml"), &roster)?;
    made.write(&args.output.join("records.csv"), &fresh::csv(nodes, common))?;
    let labels: String = nodes.iter().map(|node| node.label(common) + "\n").collect();
    made.write(&args.output.join("labels.txt"), &labels)?;
    for node in nodes {
        let path = args.output.join(format!("{}.h", plain(&node.name)));
        made.write(&path, &node.header(common, args.byte_order))?;
    }
    Ok(())
}

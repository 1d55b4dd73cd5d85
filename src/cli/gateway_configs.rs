//! A gateway's own configuration on the command line: `--gateway-config FILE`.

use std::path::PathBuf;

use crate::{
    explore::near_miss::eui_relation,
    roster::{GatewayConfig, Roster},
};

/// Reads a gateway's configuration, each file overriding those before it, and gives it to its gateway on
/// the roster. Returns what is wrong, after which the run goes on.
pub(super) fn attach(paths: &[PathBuf], roster: &mut Roster) -> Vec<String> {
    if paths.is_empty() {
        return Vec::new();
    }
    let config = match GatewayConfig::read_files(paths) {
        Ok(config) => config,
        Err(fault) => return vec![fault.to_string()],
    };
    let mut faults: Vec<String> = config.faults.iter().map(ToString::to_string).collect();
    match gateway_of(&config, roster) {
        Some(index) => {
            if let Some(gateway) = roster.gateways.get_mut(index) {
                gateway.config = Some(config);
            }
        }
        None if config.eui.is_some() => roster.loose_configs.push(config),
        None => faults.push(format!(
            "{}: no gateway_ID, and the roster has not just one gateway: nothing says whose \
             configuration this is; write it into its [[gateway]] as config = \"FILE\"",
            config.name()
        )),
    }
    faults
}

/// Returns the gateway whose configuration it is: by its EUI, else by the only EUI that it resembles, else
/// the only one there is.
fn gateway_of(config: &GatewayConfig, roster: &Roster) -> Option<usize> {
    let gateways = &roster.gateways;
    if let Some(eui) = &config.eui {
        let same = gateways.iter().position(|gateway| gateway.eui == eui.value);
        let near = || {
            let resembles =
                |gateway: &crate::roster::Gateway| eui_relation(eui.value, gateway.eui).is_some();
            let mut near = gateways.iter().enumerate().filter(|(_, gateway)| resembles(gateway));
            let first = near.next()?.0;
            near.next().is_none().then_some(first)
        };
        if let Some(found) = same.or_else(near) {
            return Some(found);
        }
    }
    (gateways.len() == 1).then_some(0)
}

//! How all stands: what a screen shows beside the latest frames, and what the end of a run says.

use std::net::SocketAddr;

use jiff::Timestamp;

use super::{Notice, recent::Recent};
use crate::{
    id::{DevEui, Eui64},
    intake::What,
    ladder::{Diagnosis, GatewayDiagnosis},
};

/// How gateways and nodes stand.
#[derive(Debug)]
pub struct Board {
    gateways: Recent<Eui64, GatewayRow>,
    nodes: Recent<NodeName, NodeRow>,
    /// Whether the server answers; `None` until that is known.
    pub server_answers: Option<bool>,
    /// Frames whose MIC fails under every key that should have signed them.
    pub failed_mics: u64,
}

/// A name on the roster, or a stranger's DevEUI.
type NodeName = (Option<String>, Option<DevEui>);

/// How a gateway stands.
#[derive(Clone, Debug)]
pub struct GatewayRow {
    /// From where it spoke last.
    pub peer: SocketAddr,
    /// When.
    pub last: Timestamp,
    /// Datagrams that it sent.
    pub datagrams: u64,
    /// Frames that it heard.
    pub heard: u64,
    /// Frames that it was told to send.
    pub sent: u64,
    /// What there is to say of it; `None` before its ladder was climbed.
    pub diagnosis: Option<Box<GatewayDiagnosis>>,
}

/// How a node stands.
#[derive(Clone, Debug)]
pub struct NodeRow {
    /// When its ladder changed last.
    pub at: Timestamp,
    /// What there is to say.
    pub diagnosis: Diagnosis,
}

impl Default for Board {
    fn default() -> Self {
        Self {
            gateways: Recent::new(MOST_GATEWAYS),
            nodes: Recent::new(MOST_NODES),
            server_answers: None,
            failed_mics: 0,
        }
    }
}

impl Board {
    /// Takes what happened.
    pub fn take(&mut self, notice: &Notice<'_>) {
        match notice {
            Notice::Datagram(caught) if caught.is_from_gateway() => {
                let Some(gateway) = caught.gateway else { return };
                let (peer, last) = (caught.peer, caught.at);
                if let Some(row) = self.gateways.meet(&gateway) {
                    row.datagrams += 1;
                    (row.peer, row.last) = (peer, last);
                } else {
                    let row =
                        GatewayRow { peer, last, datagrams: 1, heard: 0, sent: 0, diagnosis: None };
                    self.gateways.add(gateway, row);
                }
            }
            Notice::Datagram(_) => self.server_answers = Some(true),
            Notice::Frame(seen) => {
                self.failed_mics += u64::from(seen.mic_fails());
                let gateway = seen.event.gateway;
                let Some(row) = gateway.and_then(|g| self.gateways.get_mut(&g)) else { return };
                match seen.event.what {
                    What::Ordered(_) => row.sent += 1,
                    _ => row.heard += 1,
                }
            }
            Notice::Ladder(change) => {
                let diagnosis = change.diagnosis.clone();
                let stranger = diagnosis.dev_eui.filter(|_| diagnosis.name.is_none());
                let name = (diagnosis.name.clone(), stranger);
                self.nodes.add(name, NodeRow { at: change.at, diagnosis });
            }
            Notice::GatewayLadder(change) => {
                let row = change.diagnosis.eui.and_then(|eui| self.gateways.get_mut(&eui));
                if let Some(row) = row {
                    row.diagnosis = Some(Box::new(change.diagnosis.clone()));
                }
            }
            Notice::Server { answers, .. } => self.server_answers = Some(*answers),
            _ => {}
        }
    }

    /// Returns the gateways, the one heard last first.
    pub fn gateways(&self) -> impl Iterator<Item = (Eui64, &GatewayRow)> {
        self.gateways.newest().map(|(gateway, row)| (*gateway, row))
    }

    /// Returns how many gateways there are.
    pub fn gateway_count(&self) -> usize {
        self.gateways.len()
    }

    /// Returns what there is to say of gateways with which something is wrong.
    pub fn faulty_gateways(&self) -> impl Iterator<Item = &GatewayDiagnosis> {
        let told = self.gateways.newest().filter_map(|(_, row)| row.diagnosis.as_deref());
        told.filter(|diagnosis| diagnosis.has_fault())
    }

    /// Returns the nodes, the one whose ladder changed last first.
    pub fn nodes(&self) -> impl Iterator<Item = &NodeRow> {
        self.nodes.newest().map(|(_, row)| row)
    }

    /// Returns how many nodes there are.
    pub fn node_count(&self) -> usize {
        self.nodes.len()
    }

    /// Returns whether something is wrong with a node or a gateway, or a MIC failed.
    pub fn has_fault(&self) -> bool {
        self.failed_mics > 0
            || self.faulty_gateways().next().is_some()
            || self.nodes().any(|row| row.diagnosis.has_fault())
    }
}

/// Gateways that are listed.
const MOST_GATEWAYS: usize = 4_096;
/// Nodes that are listed.
const MOST_NODES: usize = 16_384;

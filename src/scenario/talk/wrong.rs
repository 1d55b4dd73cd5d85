//! Mistakes of a session, by who makes them.

mod begin;
mod node;
mod server;

pub(super) use begin::{begin, interval};
pub(super) use node::{answers, is_deaf, place, says, speaks};
pub(super) use server::{
    address, applies, busies, conf_fcnt, confirms, is_eager, is_mute, keeps_back, never_acks,
    notes, orders, payload, seconds, sends_at_once, session, signs_with, takes_first, takes_second,
};

//! `tap` over real sockets on loopback, between gateways and servers that a script plays.
//!
//! What acknowledges what, and with which octets: the gateway protocol's document, version 2, sections 3
//! to 6. Ports are chosen by the system; every wait has a generous deadline and none is for a fixed time.

mod acknowledge;
mod circles;
mod hostile;
mod ports;
mod record;
mod relay;
mod stage;

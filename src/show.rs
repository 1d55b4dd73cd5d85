//! Reports as people and programs read them.
//!
//! A renderer takes what the library found and a [`std::fmt::Write`]; it decides nothing, prints
//! nothing and looks at no clock or terminal.

pub mod airtime;
pub mod compare;
pub mod id;
pub mod plan;

//! RFC 3394 key wrap, as the key envelopes between LoRaWAN back ends use it (TS002).

use alloc::{vec, vec::Vec};

use aes_kw::{KeyInit, KwAes128};
use zeroize::Zeroize;

use crate::{
    key::{Aes128Key, Kek},
    words::Count,
};

/// A wrapped key that does not unwrap: damaged, or wrapped under another KEK.
#[derive(Clone, Copy, Debug, Eq, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum UnwrapError {
    /// The integrity check of RFC 3394 fails.
    #[error("the wrapped key does not unwrap under this KEK")]
    Integrity,
    /// A length that no wrapped key has.
    #[error("no wrapped key: {}, a wrapped AES-128 key has 24", Count(*.found, "byte"))]
    Length {
        /// Octets given.
        found: usize,
    },
}

/// Returns key data wrapped under a KEK: eight octets more (RFC 3394, 2.2.1).
///
/// # Errors
/// [`UnwrapError::Length`] when the key data is not a multiple of 8 octets, 16 at least.
pub fn wrap_data(kek: &Kek, data: &[u8]) -> Result<Vec<u8>, UnwrapError> {
    let mut out = vec![0; data.len() + 8];
    if data.len() < 16 {
        return Err(UnwrapError::Length { found: data.len() });
    }
    match cipher(kek).wrap_key(data, &mut out) {
        Ok(_) => Ok(out),
        Err(_) => Err(UnwrapError::Length { found: data.len() }),
    }
}

/// Returns the key data inside wrapped octets (RFC 3394, 2.2.2).
///
/// # Errors
/// [`UnwrapError`] when no key data can have this length or the integrity check fails.
pub fn unwrap_data(kek: &Kek, wrapped: &[u8]) -> Result<Vec<u8>, UnwrapError> {
    if wrapped.len() < 24 || !wrapped.len().is_multiple_of(8) {
        return Err(UnwrapError::Length { found: wrapped.len() });
    }
    let mut out = vec![0; wrapped.len() - 8];
    match cipher(kek).unwrap_key(wrapped, &mut out) {
        Ok(_) => Ok(out),
        Err(_) => Err(UnwrapError::Integrity),
    }
}

/// Returns the AES-128 key inside 24 wrapped octets.
///
/// # Errors
/// [`UnwrapError`] when the length is another or the integrity check fails.
pub fn unwrap(kek: &Kek, wrapped: &[u8]) -> Result<Aes128Key, UnwrapError> {
    let mut data = unwrap_data(kek, wrapped)?;
    let key = <[u8; 16]>::try_from(data.as_slice()).map(Aes128Key::new);
    data.zeroize();
    key.map_err(|_| UnwrapError::Length { found: wrapped.len() })
}

fn cipher(kek: &Kek) -> KwAes128 {
    KwAes128::new(&(*kek.key().expose()).into())
}

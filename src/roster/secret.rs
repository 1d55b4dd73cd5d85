//! Keys from elsewhere, and words of the file that must not show one.

use std::{fs::File, io::Read, path::Path};

use zeroize::Zeroizing;

use super::error::FaultKind;
use crate::intake::file_text;

/// Returns the one line of a key file.
pub(super) fn key_file(path: &Path) -> Result<Zeroizing<String>, FaultKind> {
    let cannot = |e: std::io::Error| FaultKind::KeyFile(e.kind());
    let file = File::open(path).map_err(cannot)?;
    let mut octets = Zeroizing::new(Vec::with_capacity(KEY_FILE_CAP));
    // the buffer never grows, so that no copy of a key is left behind
    file.take(KEY_FILE_CAP as u64).read_to_end(&mut octets).map_err(cannot)?;
    let text = file_text(&octets).map_err(|_| FaultKind::KeyFileForm)?;
    let text = text.trim();
    if octets.len() == KEY_FILE_CAP || text.lines().count() != 1 {
        return Err(FaultKind::KeyFileForm);
    }
    Ok(Zeroizing::new(text.to_owned()))
}

/// Returns what an environment variable holds.
pub(super) fn key_env(name: &str) -> Result<Zeroizing<String>, FaultKind> {
    // these two make the standard library's reader refuse, and older ones panic
    if name.is_empty() || name.contains(['=', '\0']) {
        return Err(FaultKind::KeyEnv);
    }
    std::env::var(name).map(Zeroizing::new).map_err(|_| FaultKind::KeyEnv)
}

/// Returns a member's name or a message fit to print: without long hex, control characters, or
/// more than a line of it.
pub(super) fn redacted(text: &str) -> String {
    let mut out = String::new();
    let mut run = String::new();
    let flush = |run: &mut String, out: &mut String| {
        let digits = run.chars().filter(char::is_ascii_hexdigit).count();
        out.push_str(if digits >= LONG_HEX { "[...]" } else { run });
        run.clear();
    };
    for c in text.chars() {
        // The separators that a key may be written with belong to the run.
        let joins =
            c.is_ascii_hexdigit() || (!run.is_empty() && matches!(c, '-' | ':' | ' ' | '_'));
        if joins {
            run.push(c);
            continue;
        }
        flush(&mut run, &mut out);
        out.extend(c.escape_debug());
    }
    flush(&mut run, &mut out);
    if out.chars().count() > LONGEST {
        out = out.chars().take(LONGEST).chain("...".chars()).collect();
    }
    out
}

/// Hex digits in a row that may be part of a key.
const LONG_HEX: usize = 8;
/// Characters of the file that a message repeats.
const LONGEST: usize = 120;
/// A key file has 32 digits, perhaps with separators and spaces around.
const KEY_FILE_CAP: usize = 1024;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::log_line;

    #[test]
    fn a_log_keeps_its_words_and_loses_its_keys() {
        for key in [
            "2b7e151628aed2a6abf7158809cf4f3c",
            "2B 7E 15 16 28 AE D2 A6 AB F7 15 88 09 CF 4F 3C",
            "0x2B,0x7E,0x15,0x16,0x28,0xAE,0xD2,0xA6,0xAB,0xF7,0x15,0x88,0x09,0xCF,0x4F,0x3C",
        ] {
            assert_eq!(log_line(&format!("join: AppKey={key}.")), "join: AppKey=[...].");
        }
        for kept in [
            "12:00:03 tx 868.1 MHz SF9, DevEUI 02-00-00-FF-FE-00-12-07, DevAddr 0201BBDA",
            "uplink dropped: channel not found \u{2014} 916.8 MHz",
        ] {
            assert_eq!(log_line(kept), kept);
        }
        assert_eq!(log_line("a\u{1b}[31mb"), "a\\u{1b}[31mb");
    }

    #[test]
    fn long_hex_is_left_out_however_it_is_written() {
        for key in [
            "2b7e151628aed2a6abf7158809cf4f3c",
            "2B-7E-15-16-28-AE-D2-A6",
            "2b:7e:15:16",
            "2b7e1516 28aed2a6",
        ] {
            assert_eq!(redacted(&format!("in `{key}`")), "in `[...]`");
        }
        assert_eq!(redacted("app-kye"), "app-kye");
        assert_eq!(redacted("a\u{1b}b"), "a\\u{1b}b");
        assert!(redacted(&"x".repeat(5000)).len() < 200);
    }
}

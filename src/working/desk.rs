//! Where a sheet is written: each step is done as it is put down.

use std::ops::Range;

use super::{Op, Part, SecretOctets, Sheet, Step};
use crate::{
    crypto::{Block, encrypt_block},
    key::Aes128Key,
};

/// A sheet in the making.
pub(super) struct Desk {
    sheet: Sheet,
}

/// A key by its name on the sheet.
#[derive(Clone, Copy)]
pub(super) struct Key<'a> {
    pub(super) name: &'a str,
    pub(super) key: &'a Aes128Key,
}

impl Desk {
    pub(super) fn new(title: impl Into<String>) -> Self {
        Self { sheet: Sheet { title: title.into(), steps: Vec::new(), end: String::new() } }
    }

    pub(super) fn done(mut self, end: impl Into<String>) -> Sheet {
        self.sheet.end = end.into();
        self.sheet
    }

    fn put(&mut self, name: &str, op: Op, output: Vec<u8>, secret: bool, note: &str) {
        let (name, note, output) = (name.to_owned(), note.to_owned(), SecretOctets(output));
        self.sheet.steps.push(Step { name, op, output, secret, note });
    }

    fn has(&self, name: &str) -> bool {
        self.sheet.steps.iter().any(|step| step.name == name)
    }

    fn octets(&self, name: &str) -> Vec<u8> {
        self.sheet.output(name).unwrap_or_default().to_vec()
    }

    fn block(&self, name: &str) -> Block {
        // Nothing but blocks is encrypted; what is shorter cannot come here.
        self.octets(name).try_into().unwrap_or_default()
    }

    /// Returns the key that a step made.
    pub(super) fn as_key(&self, name: &str) -> Option<Aes128Key> {
        let octets: Block = self.sheet.output(name)?.try_into().ok()?;
        Some(Aes128Key::new(octets))
    }

    /// Puts a key down, once.
    pub(super) fn key(&mut self, key: Key<'_>) {
        if !self.has(key.name) {
            self.put(key.name, Op::Given, key.key.expose().to_vec(), true, "");
        }
    }

    pub(super) fn given(&mut self, name: &str, octets: &[u8], note: &str) {
        self.put(name, Op::Given, octets.to_vec(), false, note);
    }

    /// Joins parts; those of a step's name take its output.
    pub(super) fn join(&mut self, name: &str, parts: Vec<Part>, note: &str) {
        let output = parts.iter().flat_map(|part| part.octets.iter().copied()).collect();
        self.put(name, Op::Join(parts), output, false, note);
    }

    /// The output of a step as a part of others.
    pub(super) fn part(&self, name: &str) -> Part {
        Part { name: name.to_owned(), octets: self.octets(name), note: String::new() }
    }

    pub(super) fn aes(&mut self, name: &str, key: Key<'_>, block: &str, secret: bool, note: &str) {
        self.key(key);
        let output = encrypt_block(key.key, self.block(block));
        let op = Op::Aes { key: key.name.to_owned(), block: block.to_owned() };
        self.put(name, op, output.to_vec(), secret, note);
    }

    pub(super) fn xor(&mut self, name: &str, of: &[&str], secret: bool, note: &str) {
        let all: Vec<_> = of.iter().map(|name| self.octets(name)).collect();
        let output = all.into_iter().reduce(|left, right| xor(&left, &right)).unwrap_or_default();
        let names = of.iter().map(|&name| name.to_owned()).collect();
        self.put(name, Op::Xor(names), output, secret, note);
    }

    /// A doubled block; `output` is what the CMAC computes with.
    pub(super) fn double(&mut self, name: &str, of: &str, output: Block, note: &str) {
        self.put(name, Op::Double(of.to_owned()), output.to_vec(), true, note);
    }

    pub(super) fn pad(&mut self, name: &str, of: &str, note: &str) {
        let mut output = self.octets(of);
        output.push(0x80);
        output.resize(16, 0);
        self.put(name, Op::Pad(of.to_owned()), output, false, note);
    }

    pub(super) fn cut(&mut self, name: &str, of: &str, at: Range<usize>, note: &str) {
        let octets = self.octets(of);
        let at = at.start.min(octets.len())..at.end.min(octets.len());
        let output = octets.get(at.clone()).unwrap_or_default().to_vec();
        self.put(name, Op::SecretOctets(of.to_owned(), at), output, false, note);
    }
}

/// Names the parts of a block that was made elsewhere, one after the other.
pub(super) fn laid(block: &[u8], names: &[(&str, usize, String)]) -> Vec<Part> {
    let mut rest = block;
    let part = |(name, len, note): &(&str, usize, String)| {
        let (octets, after) = rest.split_at(rest.len().min(*len));
        rest = after;
        Part { name: (*name).to_owned(), octets: octets.to_vec(), note: note.clone() }
    };
    names.iter().map(part).collect()
}

fn xor(left: &[u8], right: &[u8]) -> Vec<u8> {
    left.iter().zip(right).map(|(a, b)| a ^ b).collect()
}

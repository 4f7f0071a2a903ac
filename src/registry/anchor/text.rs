//! An anchor as text: one line a statement, in a fixed order, signed as the last line.
//!
//! Format 1. A later format begins with another first line; whoever keeps an old file can read it for ever.

use crate::registry::journal::hex;
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use chrono::{DateTime, SecondsFormat, Utc};
use std::fmt::Write as _;

/// The first line.
const FIRST: &str = "doseward-anchor 1";

/// A chain as it stood.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Head {
    /// Its name.
    pub chain: String,
    /// How many entries it had.
    pub entries: i64,
    /// The hash of the last.
    pub hash: [u8; 32],
}

/// A chain of which neither count nor growth may be read: its digest under a secret of the registry and a number used once.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Blinded {
    /// Its name.
    pub chain: String,
    /// Drawn anew for every anchor, so that two anchors of the same chain have nothing in common.
    pub nonce: [u8; 16],
    /// SHA-256 over secret, nonce, count and head.
    pub digest: [u8; 32],
}

/// What stands in an anchor.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Anchor {
    /// When it was made.
    pub at: DateTime<Utc>,
    /// The journal's position.
    pub position: i64,
    /// The version of the software.
    pub software: String,
    /// The number of the schema.
    pub schema: i64,
    /// The fingerprint of the key that signs it.
    pub key: [u8; 32],
    /// The chains in the reader's sight.
    pub chains: Vec<Head>,
    /// Those that stand for everybody and show nothing.
    pub blinded: Vec<Blinded>,
    /// How many lines the access log had, and their running digest.
    pub access_log: (i64, [u8; 32]),
}

/// An anchor with its signature.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Signed {
    /// What it says.
    pub anchor: Anchor,
    /// The signed bytes: every line but the last.
    pub body: String,
    /// Ed25519 (RFC 8032) over the signed bytes.
    pub signature: [u8; 64],
}

impl Anchor {
    /// The bytes that are signed.
    pub fn body(&self) -> String {
        let mut text = format!("{FIRST}\nat {}\n", self.at.to_rfc3339_opts(SecondsFormat::Micros, true));
        let mut put = |line: String| writeln!(text, "{line}").expect("writing to a String cannot fail");
        put(format!("position {}", self.position));
        put(format!("software {}", self.software));
        put(format!("schema {}", self.schema));
        put(format!("key {}", hex(&self.key)));
        for head in &self.chains {
            put(format!("chain {} {} {}", head.chain, head.entries, hex(&head.hash)));
        }
        for hidden in &self.blinded {
            put(format!("blinded {} {} {}", hidden.chain, hex(&hidden.nonce), hex(&hidden.digest)));
        }
        let (lines, digest) = self.access_log;
        put(format!("access-log {lines} {}", hex(&digest)));
        text
    }
}

impl std::fmt::Display for Signed {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&sealed(&self.body, &self.signature))
    }
}

impl Signed {
    /// Reads an anchor as it was handed out.
    ///
    /// # Errors
    /// What is wrong with its form, in a sentence; whether the signature is right is another question.
    pub fn parse(text: &str) -> Result<Self, String> {
        let (body, signature) = unsealed(text)?;
        let anchor = read(&body)?;
        // Only one text says what an anchor says.
        if anchor.body() != body {
            return Err("its lines are not written as an anchor's".into());
        }
        Ok(Self { anchor, body, signature })
    }
}

/// A text with its signature as the last line.
pub(super) fn sealed(body: &str, signature: &[u8; 64]) -> String {
    format!("{body}signature {}\n", STANDARD.encode(signature))
}

/// The signed bytes of such a text, and the signature.
pub(super) fn unsealed(text: &str) -> Result<(String, [u8; 64]), String> {
    let before_end = text.strip_suffix('\n').ok_or("it does not end with a line break")?;
    let (body, last) = before_end.rsplit_once('\n').ok_or("it has one line only")?;
    let signature = last.strip_prefix("signature ").ok_or("its last line is no signature")?;
    let signature = STANDARD.decode(signature).ok().and_then(|bytes| bytes.try_into().ok());
    let signature = signature.ok_or("its signature is not 64 bytes in base64")?;
    Ok((format!("{body}\n"), signature))
}

/// Reads the lines in their order.
fn read(body: &str) -> Result<Anchor, String> {
    let mut lines = body.lines().peekable();
    if lines.next() != Some(FIRST) {
        return Err(format!("it does not begin with “{FIRST}”"));
    }
    let mut one = |name: &str| {
        let line = lines.next_if(|line| line.split(' ').next() == Some(name));
        line.and_then(|line| line.split_once(' '))
            .map(|(_, rest)| rest.to_owned())
            .ok_or_else(|| format!("its line “{name}” is missing or out of place"))
    };
    let wrong = |name: &str| format!("its line “{name}” does not read");
    let number = |text: &str, name: &str| text.parse::<i64>().map_err(|_| wrong(name));
    let at = DateTime::parse_from_rfc3339(&one("at")?).map_err(|_| wrong("at"))?.to_utc();
    let position = number(&one("position")?, "position")?;
    let software = one("software")?;
    let schema = number(&one("schema")?, "schema")?;
    let key = unhex(&one("key")?).ok_or_else(|| wrong("key"))?;
    let (mut chains, mut blinded) = (Vec::new(), Vec::new());
    while let Ok(line) = one("chain") {
        let mut words = line.split(' ');
        let head = (|| {
            let chain = words.next()?.to_owned();
            let entries = words.next()?.parse().ok()?;
            Some(Head { chain, entries, hash: unhex(words.next()?)? })
        })();
        chains.push(head.ok_or_else(|| wrong("chain"))?);
    }
    while let Ok(line) = one("blinded") {
        let mut words = line.split(' ');
        let hidden = (|| {
            let chain = words.next()?.to_owned();
            Some(Blinded { chain, nonce: unhex(words.next()?)?, digest: unhex(words.next()?)? })
        })();
        blinded.push(hidden.ok_or_else(|| wrong("blinded"))?);
    }
    let log = one("access-log")?;
    let log = log.split_once(' ').and_then(|(lines, digest)| Some((lines.parse().ok()?, unhex(digest)?)));
    let access_log = log.ok_or_else(|| wrong("access-log"))?;
    Ok(Anchor { at, position, software, schema, key, chains, blinded, access_log })
}

/// Bytes from hexadecimal.
pub(super) fn unhex<const N: usize>(text: &str) -> Option<[u8; N]> {
    let digits = text.as_bytes();
    let mut bytes = [0; N];
    if digits.len() != 2 * N || !digits.iter().all(u8::is_ascii_hexdigit) {
        return None;
    }
    for (byte, pair) in bytes.iter_mut().zip(digits.chunks(2)) {
        *byte = u8::from_str_radix(std::str::from_utf8(pair).ok()?, 16).ok()?;
    }
    Some(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn anchor() -> Signed {
        let anchor = Anchor {
            at: "2026-03-02T12:00:00.000250Z".parse().unwrap(),
            position: 412,
            software: "0.1.0".into(),
            schema: 6,
            key: [7; 32],
            chains: vec![Head { chain: "corporation".into(), entries: 120, hash: [1; 32] }],
            blinded: vec![Blinded { chain: "medical".into(), nonce: [2; 16], digest: [3; 32] }],
            access_log: (331, [4; 32]),
        };
        Signed { body: anchor.body(), anchor, signature: [5; 64] }
    }

    #[test]
    fn an_anchor_reads_back_what_it_wrote() {
        let signed = anchor();
        let text = signed.to_string();
        assert!(
            text.starts_with("doseward-anchor 1\nat 2026-03-02T12:00:00.000250Z\nposition 412\n"),
            "{text}"
        );
        assert_eq!(Signed::parse(&text), Ok(signed));
    }

    #[test]
    fn only_one_text_says_what_an_anchor_says() {
        let text = anchor().to_string();
        for (from, to) in [
            ("position 412", "position 0412"),
            ("position 412", "position +412"),
            ("anchor 1", "anchor 2"),
            ("at 2026-03-02T12:00:00.000250Z", "at 2026-03-02T13:00:00.000250+01:00"),
            ("chain corporation", "chain  corporation"),
            ("schema 6\n", ""),
            ("schema 6\n", "schema 6\nremark none\n"),
            ("access-log 331", "access-log x"),
            ("signature ", "signed "),
            ("key 0707", "key 07070"),
            ("\nsoftware", "\r\nsoftware"),
        ] {
            let other = text.replace(from, to);
            assert_ne!(other, text);
            assert!(Signed::parse(&other).is_err(), "{from:?} as {to:?}");
        }
        assert!(Signed::parse("").is_err() && Signed::parse(text.trim_end()).is_err());
    }
}

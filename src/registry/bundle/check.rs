//! Looks through a bundle: every byte is what was signed, or a fault.

use crate::registry::anchor::key::PublicKey;
use crate::registry::backup::archive::Members;
use crate::registry::bundle::manifest::{CHECKSUMS, KEY, MANIFEST, Manifest, SIGNATURE, checksums};
use crate::registry::bundle::{of_bundle, wrong};
use crate::registry::journal::hex;
use crate::registry::refusal::Refusal;
use sha2::{Digest as _, Sha256};
use std::collections::BTreeMap;
use std::fs::File;
use std::io::BufReader;
use std::path::{Path, PathBuf};

/// The most bytes of a member that is held in memory.
pub(super) const MOST: u64 = 256 << 20;

/// Who signed a bundle, and what.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Signature {
    /// The fingerprint of the key, in hexadecimal.
    pub key: String,
    /// SHA-256 of the list of checksums, which is what was signed, in hexadecimal.
    pub checksums: String,
}

/// A bundle that was looked through and found whole.
#[derive(Debug)]
pub struct Bundle {
    pub(super) path: PathBuf,
    pub(super) manifest: Manifest,
    /// Who signed it.
    pub signature: Signature,
}

impl Bundle {
    /// Looks through a bundle. With a key it must be signed with that one; without, with the one that lies in it, which says
    /// only that nothing was altered since.
    ///
    /// # Errors
    /// It cannot be read, is none, is damaged, is signed by somebody else, or was written by a newer program.
    pub fn open(path: &Path, key: Option<PublicKey>) -> Result<Self, Refusal> {
        let named = |refusal: Refusal| match refusal {
            Refusal::Unreadable(what) => wrong(format!("{}: {what}", path.display())),
            other => other,
        };
        look_through(path, key).map_err(named)
    }

    /// Whose record it is.
    pub fn scope(&self) -> &str {
        &self.manifest.scope
    }

    /// How many entries of the journal are in it.
    pub fn entries(&self) -> i64 {
        self.manifest.entries
    }
}

fn look_through(path: &Path, key: Option<PublicKey>) -> Result<Bundle, Refusal> {
    let file = File::open(path).map_err(|error| wrong(error.to_string()))?;
    let mut members = Members::new(BufReader::new(file));
    let mut seen: Vec<(String, String)> = Vec::new();
    let mut kept = BTreeMap::new();
    while let Some(member) = members.next().map_err(of_bundle)? {
        let name = member.name.clone();
        let digest = if [MANIFEST, CHECKSUMS, SIGNATURE, KEY].contains(&name.as_str()) {
            let content = members.content(&member, MOST).map_err(of_bundle)?;
            let digest = hex(&Sha256::digest(&content));
            kept.insert(name.clone(), content);
            digest
        } else {
            hex(&members.digest(&member).map_err(of_bundle)?)
        };
        seen.push((name, digest));
    }
    let taken = |name: &str| kept.get(name).ok_or_else(|| wrong(format!("the bundle has no {name}")));
    let (list, signature) = (taken(CHECKSUMS)?, taken(SIGNATURE)?);
    let own = str::from_utf8(taken(KEY)?).map_err(|_| wrong("the key in the bundle is none"))?;
    let own = PublicKey::from_pem(own).map_err(|what| wrong(format!("{KEY}: {what}")))?;
    let key = key.unwrap_or(own);
    let signed = <[u8; 64]>::try_from(&signature[..]).is_ok_and(|signature| key.has_signed(list, &signature));
    if !signed {
        return Err(wrong(format!("{CHECKSUMS} was not signed with the key {}", hex(&key.fingerprint()))));
    }
    // Signed is the list; everything else must be on it, in this order, and nothing besides.
    let before = seen.iter().filter(|(name, _)| ![CHECKSUMS, SIGNATURE].contains(&name.as_str()));
    let found = checksums(before.map(|(name, digest)| (name.as_str(), digest.as_str())));
    if found.as_bytes() != &list[..] {
        return Err(wrong(first_difference(&found, list)));
    }
    let manifest = Manifest::parse_text(taken(MANIFEST)?)?;
    let on_list = |file: &super::manifest::FileLine| {
        seen.iter().any(|(name, digest)| *name == file.name && *digest == file.sha256)
    };
    if let Some(file) = manifest.files.iter().find(|file| !on_list(file)) {
        return Err(wrong(format!("{} is not as the manifest says", file.name)));
    }
    let signature = Signature { key: hex(&key.fingerprint()), checksums: hex(&Sha256::digest(list)) };
    Ok(Bundle { path: path.to_owned(), manifest, signature })
}

/// The first line of a list that another has otherwise, in words.
fn first_difference(found: &str, list: &[u8]) -> String {
    let list = String::from_utf8_lossy(list);
    let name = |line: &str| line.split_once("  ").map(|(_, name)| name.to_owned()).unwrap_or_default();
    for (is, must) in found.lines().zip(list.lines()) {
        if is != must {
            return format!("{} is not as it was signed", name(must));
        }
    }
    match (found.lines().count(), list.lines().count()) {
        (is, must) if is < must => {
            format!("{} is missing from the bundle", list.lines().nth(is).map(name).unwrap_or_default())
        }
        _ => "the bundle holds more than was signed".into(),
    }
}

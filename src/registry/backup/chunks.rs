//! Chunks: lines gathered, packed and numbered; and read back, each held against the manifest.

use crate::registry::backup::archive::{Archive, Members};
use crate::registry::backup::manifest::{
    CHECKSUMS, Chunk, MANIFEST, Manifest, READ_ME, checksums, chunk_name, opens_a_backup, read_me,
};
use crate::registry::backup::{FORMAT, Fault};
use crate::registry::journal::hex;
use flate2::Compression;
use flate2::read::GzDecoder;
use flate2::write::GzEncoder;
use serde_json::Value;
use sha2::{Digest as _, Sha256};
use std::io::{BufRead as _, BufReader, Read, Write};

/// A chunk ends with the line that brings it to this many bytes, before it is packed.
const FULL: usize = 1 << 20;
/// The most that a chunk, packed or not, or a manifest may take of memory.
const MOST: u64 = 256 << 20;

/// A chunk that lines are being added to.
#[derive(Debug)]
struct Open {
    section: &'static str,
    rows: i64,
    bytes: usize,
    packed: GzEncoder<Vec<u8>>,
}

/// Writes the chunks of a backup, and last what they must be.
#[derive(Debug)]
pub(super) struct Writer<W> {
    archive: Archive<W>,
    open: Option<Open>,
    read_me: String,
    chunks: Vec<Chunk>,
}

impl<W: Write> Writer<W> {
    /// Begins a backup with the page that explains it. Its members bear a time, in seconds since 1970.
    pub(super) fn begin(to: W, seconds: u64) -> Result<Self, Fault> {
        let (mut archive, read_me) = (Archive::new(to, seconds), read_me());
        archive.add(READ_ME, read_me.as_bytes())?;
        let read_me = hex(&Sha256::digest(read_me));
        Ok(Self { archive, open: None, read_me, chunks: Vec::new() })
    }

    /// Adds a line to a section. Sections come one after the other.
    pub(super) fn line(&mut self, section: &'static str, line: &Value) -> Result<(), Fault> {
        if self.open.as_ref().is_some_and(|open| open.section != section || open.bytes >= FULL) {
            self.close()?;
        }
        let open = self.open.get_or_insert_with(|| Open {
            section,
            rows: 0,
            bytes: 0,
            packed: GzEncoder::new(Vec::new(), Compression::default()),
        });
        let text = format!("{line}\n");
        open.packed.write_all(text.as_bytes())?;
        open.rows += 1;
        open.bytes += text.len();
        Ok(())
    }

    fn close(&mut self) -> Result<(), Fault> {
        let Some(open) = self.open.take() else { return Ok(()) };
        let packed = open.packed.finish()?;
        let file = chunk_name(self.chunks.len() + 1, open.section);
        self.archive.add(&file, &packed)?;
        let sha256 = hex(&Sha256::digest(&packed));
        self.chunks.push(Chunk { file, section: open.section.into(), rows: open.rows, sha256 });
        Ok(())
    }

    /// Ends the backup with its manifest, whose chunks are filled in here, and the list of checksums.
    pub(super) fn end(mut self, manifest: Manifest) -> Result<(Manifest, W), Fault> {
        self.close()?;
        let manifest = Manifest { format: FORMAT, chunks: self.chunks, ..manifest };
        let text = manifest.text();
        self.archive.add(MANIFEST, text.as_bytes())?;
        let list = list_of(&self.read_me, &manifest, text.as_bytes());
        self.archive.add(CHECKSUMS, list.as_bytes())?;
        Ok((manifest, self.archive.end()?))
    }
}

/// The list of checksums of a backup.
fn list_of(read_me: &str, manifest: &Manifest, text: &[u8]) -> String {
    let own = hex(&Sha256::digest(text));
    let chunks = manifest.chunks.iter().map(|chunk| (chunk.file.as_str(), chunk.sha256.as_str()));
    checksums([(READ_ME, read_me)].into_iter().chain(chunks).chain([(MANIFEST, own.as_str())]))
}

/// Looks through a whole backup: every byte is what was written there, or a fault. Gives its manifest.
pub(super) fn check(from: impl Read, mut progress: impl FnMut(i64)) -> Result<Manifest, Fault> {
    let mut members = Members::new(from);
    let read_me = read_the_first(&mut members)?;
    let mut seen: Vec<(String, String)> = Vec::new();
    let text = loop {
        let Some(member) = members.next()? else { return Err(Fault::new("the backup has no manifest")) };
        if member.name == MANIFEST {
            break members.content(&member, MOST)?;
        }
        let number = seen.len() + 1;
        if member.name.split_once('-').and_then(|(number, _)| number.parse().ok()) != Some(number) {
            return Err(Fault::new(format!(
                "chunk {number:06} of the backup is missing or out of order: {} stands in its place",
                member.name
            )));
        }
        let digest = hex(&members.digest(&member)?);
        seen.push((member.name, digest));
        progress(i64::try_from(number).unwrap_or(i64::MAX));
    };
    let manifest = Manifest::parse_text(&text)?;
    for (n, chunk) in manifest.chunks.iter().enumerate() {
        match seen.get(n) {
            None => return Err(Fault::new(format!("{} is missing from the backup", chunk.file))),
            Some((name, _)) if *name != chunk.file => {
                return Err(Fault::new(format!("{name} stands where the manifest has {}", chunk.file)));
            }
            Some((_, digest)) if *digest != chunk.sha256 => {
                return Err(Fault::new(format!("{} is not as it was written", chunk.file)));
            }
            Some(_) => {}
        }
    }
    if let Some((name, _)) = seen.get(manifest.chunks.len()) {
        return Err(Fault::new(format!("{name} is in the backup, and its manifest does not know it")));
    }
    let list = members.next()?.filter(|member| member.name == CHECKSUMS);
    let list = list.ok_or_else(|| Fault::new("the backup has no list of checksums"))?;
    if members.content(&list, MOST)? != list_of(&read_me, &manifest, &text).as_bytes() {
        return Err(Fault::new(format!("{READ_ME}, {MANIFEST} or {CHECKSUMS} is not as it was written")));
    }
    match members.next()? {
        None => Ok(manifest),
        Some(member) => Err(Fault::new(format!("{} stands behind the end of the backup", member.name))),
    }
}

/// Takes the page at the beginning; gives its checksum.
fn read_the_first<R: Read>(members: &mut Members<R>) -> Result<String, Fault> {
    // Whatever is wrong with the first header, this is none of our files.
    let none = |_| Fault::new("the file is no backup of a registry");
    let first = members.next().map_err(none)?.ok_or_else(|| none(Fault::new("")))?;
    let content = members.content(&first, FULL as u64)?;
    opens_a_backup(&first.name, &content)?;
    Ok(hex(&Sha256::digest(&content)))
}

/// Reads the chunks of a backup that was [looked through](check), again and for good.
#[derive(Debug)]
pub(super) struct Reader<R> {
    members: Members<R>,
    next: usize,
}

impl<R: Read> Reader<R> {
    pub(super) fn begin(from: R) -> Result<Self, Fault> {
        let mut members = Members::new(from);
        read_the_first(&mut members)?;
        Ok(Self { members, next: 0 })
    }

    /// The next chunk: its section and its lines. `None` behind the last.
    pub(super) fn next(&mut self, manifest: &Manifest) -> Result<Option<(String, Vec<Value>)>, Fault> {
        let Some(chunk) = manifest.chunks.get(self.next) else { return Ok(None) };
        self.next += 1;
        let altered = || Fault::new(format!("{} is not as it was written", chunk.file));
        let member = self.members.next()?.filter(|member| member.name == chunk.file).ok_or_else(altered)?;
        let packed = self.members.content(&member, MOST)?;
        if hex(&Sha256::digest(&packed)) != chunk.sha256 {
            return Err(altered());
        }
        let mut lines = Vec::new();
        for line in BufReader::new(GzDecoder::new(&packed[..]).take(MOST)).lines() {
            lines.push(serde_json::from_str(&line.map_err(|_| altered())?).map_err(|_| altered())?);
        }
        if i64::try_from(lines.len()) != Ok(chunk.rows) {
            return Err(Fault::new(format!(
                "{} does not hold the {} rows of the manifest",
                chunk.file, chunk.rows
            )));
        }
        Ok(Some((chunk.section.clone(), lines)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::open::newest_schema;
    use chrono::DateTime;
    use serde_json::json;

    const SECTIONS: [&str; 3] = ["journal", "token-secrets", "access-log"];

    fn blank() -> Manifest {
        Manifest {
            format: 0,
            software: "0.1.0".into(),
            schema: newest_schema(),
            engine: "SQLite".into(),
            made_at: DateTime::UNIX_EPOCH,
            position: 0,
            position_at: None,
            chains: vec![],
            gaps: None,
            chunks: vec![],
        }
    }

    /// A backup in which the first section takes three chunks.
    fn written() -> (Manifest, Vec<u8>) {
        let mut writer = Writer::begin(Vec::new(), 0).unwrap();
        for (section, rows) in SECTIONS.into_iter().zip([5, 1, 2]) {
            for n in 0..rows {
                let filling = if section == "journal" { "x".repeat(FULL / 2) } else { String::new() };
                writer.line(section, &json!({"n": n, "filling": filling})).unwrap();
            }
        }
        writer.end(blank()).unwrap()
    }

    fn told(bytes: &[u8]) -> String {
        check(bytes, |_| {}).unwrap_err().0
    }

    /// Where the members begin, with their names.
    fn places(bytes: &[u8]) -> Vec<(String, usize)> {
        let (mut places, mut at) = (Vec::new(), 0);
        while bytes[at] != 0 {
            let name = str::from_utf8(&bytes[at..at + 100]).unwrap().trim_end_matches('\0').to_owned();
            let size = str::from_utf8(&bytes[at + 124..at + 135]).unwrap();
            places.push((name, at));
            at += 512 + usize::from_str_radix(size, 8).unwrap().next_multiple_of(512);
        }
        places.push((String::new(), at));
        places
    }

    #[test]
    fn lines_come_back_in_their_order_and_sections() {
        let (manifest, bytes) = written();
        assert_eq!(check(&bytes[..], |_| {}).unwrap(), manifest);
        let mut reader = Reader::begin(&bytes[..]).unwrap();
        let mut back: Vec<(String, i64)> = Vec::new();
        while let Some((section, lines)) = reader.next(&manifest).unwrap() {
            back.extend(lines.iter().map(|line| (section.clone(), line["n"].as_i64().unwrap())));
        }
        let journal = (0..5).map(|n| ("journal".to_owned(), n));
        let others = [("token-secrets", 0), ("access-log", 0), ("access-log", 1)];
        let others = others.map(|(section, n)| (section.to_owned(), n));
        assert!(back.into_iter().eq(journal.chain(others)));
        let files: Vec<&str> = manifest.chunks.iter().map(|chunk| chunk.file.as_str()).collect();
        assert_eq!(files[..2], ["000001-journal.jsonl.gz", "000002-journal.jsonl.gz"]);
        assert_eq!(files.len(), 5);
    }

    #[test]
    fn a_flipped_byte_anywhere_is_refused() {
        let (_, sound) = written();
        for at in 0..sound.len() {
            let mut bytes = sound.clone();
            bytes[at] ^= 1 << (at % 8);
            assert!(check(&bytes[..], |_| {}).is_err(), "byte {at}");
        }
    }

    #[test]
    fn a_backup_that_breaks_off_is_refused_wherever_it_does() {
        let (_, sound) = written();
        for length in (0..sound.len()).step_by(61).chain(sound.len() - 1024..sound.len()) {
            assert!(check(&sound[..length], |_| {}).is_err(), "{length} bytes");
        }
        assert_eq!(told(&sound[..sound.len() - 1]), "the backup breaks off before its end");
    }

    #[test]
    fn chunks_missing_doubled_or_out_of_order_are_named() {
        let (_, sound) = written();
        let places = places(&sound);
        let part = |n: usize| &sound[places[n].1..places[n + 1].1];
        let with = |order: &[usize]| -> Vec<u8> {
            let mut bytes: Vec<u8> = order.iter().flat_map(|n| part(*n).to_vec()).collect();
            bytes.extend([0; 1024]);
            bytes
        };
        assert_eq!(with(&[0, 1, 2, 3, 4, 5, 6, 7]), sound);
        let second = "chunk 000002 of the backup is missing or out of order: 000003-journal.jsonl.gz stands in its place";
        assert_eq!(told(&with(&[0, 1, 3, 4, 5, 6, 7])), second);
        assert_eq!(told(&with(&[0, 1, 3, 2, 4, 5, 6, 7])), second);
        assert!(told(&with(&[0, 1, 1, 2, 3, 4, 5, 6, 7])).contains("chunk 000002"));
        assert_eq!(
            told(&with(&[0, 1, 2, 3, 4, 6, 7])),
            "000005-access-log.jsonl.gz is missing from the backup"
        );
        assert!(told(&with(&[0, 1, 2, 3, 4, 5, 7])).contains("chunk 000006"));
        assert_eq!(told(&with(&[0, 1, 2, 3, 4, 5, 6])), "the backup has no list of checksums");
        assert_eq!(told(&with(&[0, 1, 2, 3, 4, 5])), "the backup has no manifest");
        assert!(told(&with(&[0, 1, 2, 3, 4, 5, 6, 7, 7])).contains("behind the end"));
        assert_eq!(told(&with(&[1, 2, 3, 4, 5, 6, 7])), "the file is no backup of a registry");
        assert_eq!(told(b"Notes."), "the file is no backup of a registry");
    }

    #[test]
    fn a_chunk_that_was_altered_after_the_look_is_not_read() {
        let (manifest, mut bytes) = written();
        // The time in the head of the packed file: it unpacks all the same, and only the checksum tells.
        let second = places(&bytes)[2].1 + 512 + 5;
        bytes[second] ^= 1;
        let mut reader = Reader::begin(&bytes[..]).unwrap();
        assert!(reader.next(&manifest).is_ok());
        assert_eq!(reader.next(&manifest).unwrap_err().0, "000002-journal.jsonl.gz is not as it was written");
    }
}

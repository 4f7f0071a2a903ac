//! The container: a tar archive in the plain `ustar` form (IEEE Std 1003.1, "pax", ustar interchange format), which every
//! tar reads. Written by hand because the reader must be strict: what a byte of the file says is either what would have
//! been written there, or a fault.

use crate::registry::backup::Fault;
use sha2::{Digest, Sha256};
use std::io::{Read, Write};

/// Headers, and contents filled up with zeros, stand in blocks of this size.
const BLOCK: usize = 512;
/// How much is held at once of a content that is only looked through.
const PIECE: usize = 64 * 1024;

/// A member's header. Owner, group and device are left at zero: a backup tells nothing of the machine it was made on.
fn header(name: &str, size: u64, seconds: u64) -> Result<[u8; BLOCK], Fault> {
    if name.len() > 100 || size > 0o777_7777_7777 || seconds > 0o777_7777_7777 {
        return Err(Fault::new(format!("{name} does not fit into the archive")));
    }
    let mut block = [0; BLOCK];
    let mut put = |at: usize, bytes: &[u8]| block[at..at + bytes.len()].copy_from_slice(bytes);
    put(0, name.as_bytes());
    put(100, b"0000600\0");
    put(108, b"0000000\0");
    put(116, b"0000000\0");
    put(124, format!("{size:011o}\0").as_bytes());
    put(136, format!("{seconds:011o}\0").as_bytes());
    // The sum is taken with spaces in its own place.
    put(148, b"        ");
    put(156, b"0");
    put(257, b"ustar\x0000");
    let sum: u32 = block.iter().map(|byte| u32::from(*byte)).sum();
    block[148..156].copy_from_slice(format!("{sum:06o}\0 ").as_bytes());
    Ok(block)
}

/// How many zeros fill up the last block of a content.
fn filling(size: u64) -> usize {
    let over = usize::try_from(size % BLOCK as u64).unwrap_or_default();
    (BLOCK - over) % BLOCK
}

/// Writes members one after the other.
#[derive(Debug)]
pub(in crate::registry) struct Archive<W> {
    to: W,
    seconds: u64,
}

impl<W: Write> Archive<W> {
    /// An archive whose members bear this time, in seconds since 1970.
    pub(in crate::registry) fn new(to: W, seconds: u64) -> Self {
        Self { to, seconds }
    }

    /// Writes a member.
    pub(in crate::registry) fn add(&mut self, name: &str, content: &[u8]) -> Result<(), Fault> {
        self.to.write_all(&header(name, content.len() as u64, self.seconds)?)?;
        self.to.write_all(content)?;
        self.to.write_all(&[0; BLOCK][..filling(content.len() as u64)])?;
        Ok(())
    }

    /// Ends the archive; gives back what it was written to.
    pub(in crate::registry) fn end(mut self) -> Result<W, Fault> {
        self.to.write_all(&[0; 2 * BLOCK])?;
        self.to.flush()?;
        Ok(self.to)
    }
}

/// A member that comes next; its content must be taken before the one after it.
#[derive(Debug)]
pub(in crate::registry) struct Member {
    /// Its name.
    pub(in crate::registry) name: String,
    size: u64,
}

/// Reads members one after the other, and nothing but what [`Archive`] writes.
#[derive(Debug)]
pub(in crate::registry) struct Members<R> {
    from: R,
}

impl<R: Read> Members<R> {
    pub(in crate::registry) fn new(from: R) -> Self {
        Self { from }
    }

    /// The next member; `None` at the end of the archive, behind which nothing may stand.
    pub(in crate::registry) fn next(&mut self) -> Result<Option<Member>, Fault> {
        let mut block = [0; BLOCK];
        self.from.read_exact(&mut block)?;
        if block == [0; BLOCK] {
            self.from.read_exact(&mut block)?;
            if block != [0; BLOCK] || self.from.read(&mut [0])? != 0 {
                return Err(Fault::new("something stands behind the end of the backup"));
            }
            return Ok(None);
        }
        let read = || -> Option<Member> {
            let end = block[..100].iter().position(|byte| *byte == 0)?;
            let name = str::from_utf8(&block[..end]).ok()?.to_owned();
            let size = octal(&block[124..136])?;
            (header(&name, size, octal(&block[136..148])?).ok()? == block).then_some(Member { name, size })
        };
        read().map(Some).ok_or_else(|| Fault::new("a header of the backup is not as it was written"))
    }

    /// The whole content of a member that is no larger than `most`.
    pub(in crate::registry) fn content(&mut self, member: &Member, most: u64) -> Result<Vec<u8>, Fault> {
        if member.size > most {
            return Err(Fault::new(format!("{} is larger than it may be", member.name)));
        }
        let mut content = vec![0; usize::try_from(member.size).map_err(|_| Fault::new("too large"))?];
        self.from.read_exact(&mut content)?;
        self.fill(member)?;
        Ok(content)
    }

    /// SHA-256 of the content of a member, which is not kept.
    pub(in crate::registry) fn digest(&mut self, member: &Member) -> Result<[u8; 32], Fault> {
        let (mut hash, mut left) = (Sha256::new(), member.size);
        let mut piece = vec![0; PIECE];
        while left > 0 {
            let now = usize::try_from(left).unwrap_or(PIECE).min(PIECE);
            self.from.read_exact(&mut piece[..now])?;
            hash.update(&piece[..now]);
            left -= now as u64;
        }
        self.fill(member)?;
        Ok(hash.finalize().into())
    }

    fn fill(&mut self, member: &Member) -> Result<(), Fault> {
        let mut zeros = [0; BLOCK];
        let zeros = &mut zeros[..filling(member.size)];
        self.from.read_exact(zeros)?;
        if zeros.iter().any(|byte| *byte != 0) {
            return Err(Fault::new(format!("what follows {} is not as it was written", member.name)));
        }
        Ok(())
    }
}

/// A number as a header writes it: octal digits and a zero byte.
fn octal(bytes: &[u8]) -> Option<u64> {
    let digits = bytes.strip_suffix(&[0])?;
    u64::from_str_radix(str::from_utf8(digits).ok()?, 8).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn written() -> Vec<u8> {
        let mut archive = Archive::new(Vec::new(), 1_772_438_400);
        archive.add("one", b"first").unwrap();
        archive.add("two", &[7; BLOCK]).unwrap();
        archive.add("three", b"").unwrap();
        archive.end().unwrap()
    }

    /// Reads everything there is: names and contents.
    fn read(bytes: &[u8]) -> Result<Vec<(String, Vec<u8>)>, Fault> {
        let mut members = Members::new(bytes);
        let mut all = Vec::new();
        while let Some(member) = members.next()? {
            let content = members.content(&member, 10_000)?;
            all.push((member.name, content));
        }
        Ok(all)
    }

    #[test]
    fn what_is_written_reads_back() {
        let all = read(&written()).unwrap();
        let names: Vec<&str> = all.iter().map(|(name, _)| name.as_str()).collect();
        assert_eq!(names, ["one", "two", "three"]);
        assert_eq!((&all[0].1[..], all[1].1.len(), all[2].1.len()), (&b"first"[..], BLOCK, 0));
    }

    #[test]
    fn a_flipped_byte_outside_the_contents_is_a_fault_wherever_it_is() {
        let sound = written();
        let contents = |at: usize| (BLOCK..BLOCK + 5).contains(&at) || (3 * BLOCK..4 * BLOCK).contains(&at);
        for at in (0..sound.len()).filter(|at| !contents(*at)) {
            for flip in [1, 0x20, 0x80] {
                let mut bytes = sound.clone();
                bytes[at] ^= flip;
                assert!(read(&bytes).is_err(), "byte {at} flipped by {flip}");
            }
        }
    }

    #[test]
    fn an_archive_that_breaks_off_or_goes_on_is_a_fault() {
        let sound = written();
        for length in 0..sound.len() {
            assert!(read(&sound[..length]).is_err(), "{length} bytes");
        }
        let longer = [&sound[..], &[0]].concat();
        assert!(read(&longer).unwrap_err().0.contains("behind the end"));
    }

    #[test]
    fn a_content_that_is_too_large_is_not_taken_into_memory() {
        let bytes = written();
        let mut members = Members::new(&bytes[..]);
        let member = members.next().unwrap().unwrap();
        assert!(members.content(&member, 4).unwrap_err().0.contains("larger"));
    }
}

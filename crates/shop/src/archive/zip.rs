//! A ZIP file (ISO/IEC 21320-1, from memory, not seen): written with stored entries, the same bytes for the same
//! content; read also where it was packed anew with deflate (RFC 1951), without trusting anything in it.

use crate::error::ShopError;
use flate2::read::DeflateDecoder;
use std::borrow::Cow;
use std::io::{self, Read as _};

const LOCAL: u32 = 0x0403_4b50;
const CENTRAL: u32 = 0x0201_4b50;
const END: u32 = 0x0605_4b50;
/// 1 January 1980: the first date that the format knows; a date would change the bytes.
const DATE: u16 = 0x0021;
/// Names are UTF-8.
const UTF8: u16 = 0x0800;

/// Methods of an entry.
const STORED: usize = 0;
const DEFLATED: usize = 8;
/// What all packed entries together may unpack to, bytes. One byte can stand for a thousand: a small file made for that
/// would fill the memory.
const MOST_UNPACKED: usize = 512 << 20;

/// CRC-32 with the reflected polynomial 0xEDB88320, as in IEEE 802.3.
pub(super) fn crc32(content: &[u8]) -> u32 {
    let mut table = [0_u32; 256];
    for (i, entry) in (0_u32..).zip(table.iter_mut()) {
        *entry = (0..8).fold(i, |c, _| {
            if c & 1 == 1 {
                0xedb8_8320 ^ (c >> 1)
            } else {
                c >> 1
            }
        });
    }
    !content.iter().fold(!0_u32, |c, b| {
        let at = usize::from(c.to_le_bytes()[0] ^ b);
        table.get(at).copied().unwrap_or(0) ^ (c >> 8)
    })
}

/// An entry that was written.
struct Written {
    name: String,
    crc: u32,
    size: u32,
    at: u32,
}

/// Writes entries one after the other.
pub(super) struct Writer<'w> {
    to: &'w mut dyn io::Write,
    at: u64,
    done: Vec<Written>,
}

fn too_large() -> io::Error {
    io::Error::other("an archive holds at most 4 GB and 65,535 files")
}

impl<'w> Writer<'w> {
    pub(super) fn new(to: &'w mut dyn io::Write) -> Self {
        Self {
            to,
            at: 0,
            done: Vec::new(),
        }
    }

    fn put(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.to.write_all(bytes)?;
        self.at += bytes.len() as u64;
        Ok(())
    }

    /// Version, flags, method, time, date, CRC, sizes, length of the name: alike in both headers.
    fn common(w: &Written) -> io::Result<Vec<u8>> {
        let name = u16::try_from(w.name.len()).map_err(|_| too_large())?;
        let mut all = Vec::new();
        for n in [20, UTF8, 0, 0, DATE] {
            all.extend(n.to_le_bytes());
        }
        for n in [w.crc, w.size, w.size] {
            all.extend(n.to_le_bytes());
        }
        all.extend(name.to_le_bytes());
        all.extend(0_u16.to_le_bytes());
        Ok(all)
    }

    /// One entry.
    pub(super) fn add(&mut self, name: &str, content: &[u8]) -> io::Result<()> {
        let written = Written {
            name: name.to_owned(),
            crc: crc32(content),
            size: u32::try_from(content.len()).map_err(|_| too_large())?,
            at: u32::try_from(self.at).map_err(|_| too_large())?,
        };
        let mut head = LOCAL.to_le_bytes().to_vec();
        head.extend(Self::common(&written)?);
        head.extend(name.as_bytes());
        self.put(&head)?;
        self.put(content)?;
        self.done.push(written);
        Ok(())
    }

    /// The list of entries at the end.
    pub(super) fn finish(mut self) -> io::Result<()> {
        let start = u32::try_from(self.at).map_err(|_| too_large())?;
        let count = u16::try_from(self.done.len()).map_err(|_| too_large())?;
        for w in std::mem::take(&mut self.done) {
            let mut head = CENTRAL.to_le_bytes().to_vec();
            head.extend(20_u16.to_le_bytes());
            head.extend(Self::common(&w)?);
            // no comment, first disk, no attributes inside or outside
            head.extend([0; 10]);
            head.extend(w.at.to_le_bytes());
            head.extend(w.name.as_bytes());
            self.put(&head)?;
        }
        let size = u32::try_from(self.at - u64::from(start)).map_err(|_| too_large())?;
        let mut end = END.to_le_bytes().to_vec();
        end.extend([0; 4]);
        end.extend(count.to_le_bytes());
        end.extend(count.to_le_bytes());
        end.extend(size.to_le_bytes());
        end.extend(start.to_le_bytes());
        end.extend(0_u16.to_le_bytes());
        self.put(&end)?;
        self.to.flush()
    }
}

fn damaged(what: &str) -> ShopError {
    ShopError::Refused(format!("This is no archive that can be read: {what}."))
}

fn number(bytes: &[u8], at: usize, width: usize) -> Option<u64> {
    let piece = bytes.get(at..at.checked_add(width)?)?;
    Some(piece.iter().rev().fold(0, |n, b| (n << 8) | u64::from(*b)))
}

fn size(bytes: &[u8], at: usize, width: usize) -> Option<usize> {
    usize::try_from(number(bytes, at, width)?).ok()
}

/// Names and contents.
type Entries<'a> = Vec<(String, Cow<'a, [u8]>)>;

/// The entries of an archive, in its order; each checked against its CRC.
pub(super) fn read(bytes: &[u8]) -> Result<Entries<'_>, ShopError> {
    read_up_to(bytes, MOST_UNPACKED)
}

fn read_up_to(bytes: &[u8], most: usize) -> Result<Entries<'_>, ShopError> {
    let cut = || damaged("it is cut short");
    // the end stands at the end, with at most 64 kB of comment behind it
    let last = bytes.len().checked_sub(22).ok_or_else(cut)?;
    let end = (last.saturating_sub(0xffff)..=last)
        .rev()
        .find(|at| number(bytes, *at, 4) == Some(u64::from(END)))
        .ok_or_else(|| damaged("it is no ZIP file, or cut short"))?;
    let count = size(bytes, end + 10, 2).ok_or_else(cut)?;
    let mut at = size(bytes, end + 16, 4).ok_or_else(cut)?;
    let mut all = Vec::new();
    // packed entries share the room; stored ones cannot hold more than the file, unless many name the same bytes
    let (mut room, mut left) = (most, bytes.len());
    for _ in 0..count {
        if number(bytes, at, 4) != Some(u64::from(CENTRAL)) {
            return Err(cut());
        }
        let field = |offset, width| size(bytes, at + offset, width).ok_or_else(cut);
        if field(8, 2)? & 1 == 1 {
            return Err(damaged(
                "it was packed anew with a password; unpack it and pack it without one",
            ));
        }
        let method = field(10, 2)?;
        let (crc, packed, length) = (field(16, 4)?, field(20, 4)?, field(24, 4)?);
        let (name, extra, comment) = (field(28, 2)?, field(30, 2)?, field(32, 2)?);
        let local = field(42, 4)?;
        let text = bytes
            .get(at + 46..at + 46 + name)
            .and_then(|n| std::str::from_utf8(n).ok())
            .ok_or_else(cut)?;
        let skip = size(bytes, local.saturating_add(26), 2)
            .zip(size(bytes, local.saturating_add(28), 2))
            .ok_or_else(cut)?;
        let from = local.saturating_add(30 + skip.0 + skip.1);
        let held = bytes
            .get(from..from.saturating_add(packed))
            .ok_or_else(cut)?;
        let content = match method {
            STORED => {
                left = left
                    .checked_sub(packed)
                    .ok_or_else(|| damaged("its files lie over one another"))?;
                Cow::Borrowed(held)
            }
            DEFLATED => {
                room = room.checked_sub(length).ok_or_else(|| {
                    damaged("unpacked it is larger than 512 MB; pack it anew without compression")
                })?;
                Cow::Owned(unpacked(held, length)?)
            }
            _ => {
                return Err(damaged(
                    "it was packed anew in a way that is not read here; pack it with deflate, or without compression",
                ));
            }
        };
        if content.len() != length {
            return Err(cut());
        }
        if u64::from(crc32(&content)) != crc as u64 {
            return Err(damaged("what is in it is not what was put in"));
        }
        all.push((text.to_owned(), content));
        at = at + 46 + name + extra + comment;
    }
    Ok(all)
}

/// A deflated entry, which says that it unpacks to so many bytes; never more than that is unpacked.
fn unpacked(held: &[u8], length: usize) -> Result<Vec<u8>, ShopError> {
    let wrong = || damaged("what is packed in it cannot be unpacked");
    let mut content = Vec::new();
    // one byte more than it says would show that it says too little
    let most = u64::try_from(length).unwrap_or(u64::MAX).saturating_add(1);
    DeflateDecoder::new(held)
        .take(most)
        .read_to_end(&mut content)
        .map_err(|_| wrong())?;
    if content.len() == length {
        Ok(content)
    } else {
        Err(wrong())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use flate2::Compression;
    use flate2::write::DeflateEncoder;
    use std::io::Write as _;

    /// An archive of one packed entry that says it unpacks to `says` bytes.
    fn packed(content: &[u8], says: usize) -> Vec<u8> {
        let mut encoder = DeflateEncoder::new(Vec::new(), Compression::best());
        encoder.write_all(content).unwrap();
        let held = encoder.finish().unwrap();
        let mut bytes = Vec::new();
        let mut to = Writer::new(&mut bytes);
        to.add("a", &held).unwrap();
        to.finish().unwrap();
        let central = bytes.len() - 22 - 47;
        bytes[central + 10] = 8;
        bytes[central + 16..central + 20].copy_from_slice(&crc32(content).to_le_bytes());
        bytes[central + 24..central + 28]
            .copy_from_slice(&u32::try_from(says).unwrap().to_le_bytes());
        bytes
    }

    #[test]
    fn what_was_packed_anew_is_read_and_a_bomb_is_not_unpacked() {
        let long = vec![b'x'; 100_000];
        for content in [&b"hello hello hello"[..], b"", &long] {
            let bytes = packed(content, content.len());
            assert_eq!(
                read(&bytes).unwrap(),
                [("a".to_owned(), Cow::from(content))]
            );
        }
        let small = packed(&long, long.len());
        assert!(small.len() < 1_000, "it is packed: {}", small.len());
        assert!(read_up_to(&small, long.len()).is_ok());
        let refused = read_up_to(&small, long.len() - 1).unwrap_err().to_string();
        assert!(refused.contains("larger than"), "{refused}");
        // that says less, or more, than it holds
        for says in [10, 99_999, 100_001] {
            let refused = read(&packed(&long, says)).unwrap_err().to_string();
            assert!(refused.contains("cannot be unpacked"), "{says}: {refused}");
        }
        // that says 4 GB
        assert!(read(&packed(&long, 0xffff_fff0)).is_err());
        let good = packed(b"hello hello hello", 17);
        for i in 0..good.len() {
            let mut other = good.clone();
            other[i] ^= 0x55;
            if let Ok(all) = read(&other) {
                assert!(
                    all.iter().all(|(_, c)| **c == *b"hello hello hello"),
                    "byte {i}"
                );
            }
            assert!(read(&good[..i]).is_err(), "cut at {i}");
        }
        let central = good.len() - 22 - 47;
        for (at, value, word) in [(8, 1, "password"), (10, 9, "in a way")] {
            let mut other = good.clone();
            other[central + at] = value;
            let refused = read(&other).unwrap_err().to_string();
            assert!(refused.contains(word), "{refused}");
        }
    }

    /// A small file can name the same bytes ten thousand times: summing them all would take hours.
    #[test]
    fn files_that_lie_over_one_another_are_refused() {
        let content = vec![b'x'; 1_000];
        let mut bytes = Vec::new();
        let mut to = Writer::new(&mut bytes);
        to.add("a", &content).unwrap();
        to.done.push(Written {
            name: "b".to_owned(),
            crc: crc32(&content),
            size: 1_000,
            at: 0,
        });
        to.finish().unwrap();
        let refused = read(&bytes).unwrap_err().to_string();
        assert!(refused.contains("over one another"), "{refused}");
    }

    /// The check value of this CRC, as published in lists of CRCs (from memory, not seen).
    #[test]
    fn the_check_value_of_the_crc() {
        assert_eq!(crc32(b"123456789"), 0xcbf4_3926);
    }

    #[test]
    fn what_is_put_in_comes_out_and_a_changed_byte_is_seen() {
        let mut bytes = Vec::new();
        let mut to = Writer::new(&mut bytes);
        to.add("a/b \u{b5}.txt", b"hello").unwrap();
        to.add("empty", b"").unwrap();
        to.finish().unwrap();
        let back = read(&bytes).unwrap();
        assert_eq!(
            back,
            [
                ("a/b \u{b5}.txt".to_owned(), Cow::from(&b"hello"[..])),
                ("empty".to_owned(), Cow::from(&b""[..]))
            ]
        );
        for i in 0..bytes.len() {
            let mut other = bytes.clone();
            other[i] ^= 0x55;
            // some fields do not matter; nothing panics, and the content is never another one
            if let Ok(all) = read(&other) {
                assert!(all.iter().all(|(_, c)| **c == *b"hello" || c.is_empty()));
            }
            assert!(read(&bytes[..i]).is_err(), "cut at {i}");
        }
    }
}

//! A first look into TIFF directories (TIFF 6.0): enough to tell a camera's raw file from a
//! picture and a sound file from one that would exhaust the memory, before any decoder is chosen.

use std::io::{Read, Seek, SeekFrom};

/// `DNGVersion` (DNG 1.7).
const DNG_VERSION: u16 = 50_706;
const PHOTOMETRIC: u16 = 262;
const MAKER_NOTE: u16 = 37_500;
/// Tags that point to directories: `SubIFDs`, Exif, GPS.
const CHILDREN: [u16; 3] = [330, 34_665, 34_853];
/// Photometric interpretations of raw files (TIFF/EP, DNG): colour mosaic and linear raw.
const RAW_PHOTOMETRICS: [u32; 2] = [32_803, 34_892];
/// Directories looked at; a camera writes at most ten or so.
const MOST_DIRECTORIES: usize = 32;
const MOST_ENTRIES: u16 = 4096;
/// No field of a sound file is longer.
const LONGEST_FIELD: u64 = 1 << 30;

/// What a first look tells.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Look {
    /// Whether there is raw sensor data.
    pub(super) raw: bool,
    /// Whether a field states an impossible length. Decoders that believe it ask for that much
    /// memory, and the program would be ended for it.
    pub(super) absurd: bool,
}

/// The TIFF byte orders.
#[derive(Clone, Copy)]
enum Order {
    Little,
    Big,
}

impl Order {
    fn short(self, bytes: [u8; 2]) -> u16 {
        match self {
            Self::Little => u16::from_le_bytes(bytes),
            Self::Big => u16::from_be_bytes(bytes),
        }
    }

    fn long(self, bytes: [u8; 4]) -> u32 {
        match self {
            Self::Little => u32::from_le_bytes(bytes),
            Self::Big => u32::from_be_bytes(bytes),
        }
    }
}

/// Looks into the TIFF-like file behind `reader`. What cannot be walked is left out; a decoder
/// will say what is wrong with it.
pub(super) fn look(reader: &mut (impl Read + Seek)) -> Look {
    let mut found = Look::default();
    let Ok(header) = take::<8>(reader) else {
        return found;
    };
    let order = if header[0] == b'I' {
        Order::Little
    } else {
        Order::Big
    };
    let mut todo = vec![(
        order,
        order.long([header[4], header[5], header[6], header[7]]),
    )];
    let mut seen = Vec::new();
    while let Some((order, offset)) = todo.pop() {
        if offset != 0 && !seen.contains(&offset) && seen.len() < MOST_DIRECTORIES {
            seen.push(offset);
            // A directory that is cut off is as far as one can look.
            let _ = directory(reader, order, offset, &mut todo, &mut found);
        }
    }
    found
}

/// Walks one directory, noting what it tells and which directories it leads to.
fn directory(
    reader: &mut (impl Read + Seek),
    order: Order,
    offset: u32,
    todo: &mut Vec<(Order, u32)>,
    found: &mut Look,
) -> std::io::Result<()> {
    reader.seek(SeekFrom::Start(offset.into()))?;
    let count = order.short(take(reader)?).min(MOST_ENTRIES);
    let mut children = Vec::new();
    let mut note = None;
    for _ in 0..count {
        let entry: [u8; 12] = take(reader)?;
        let tag = order.short([entry[0], entry[1]]);
        let kind = order.short([entry[2], entry[3]]);
        let length = order.long([entry[4], entry[5], entry[6], entry[7]]);
        let value = if kind == 3 {
            order.short([entry[8], entry[9]]).into()
        } else {
            order.long([entry[8], entry[9], entry[10], entry[11]])
        };
        found.absurd |= u64::from(length) * unit_bytes(kind) > LONGEST_FIELD;
        found.raw |= tag == DNG_VERSION;
        found.raw |= tag == PHOTOMETRIC && RAW_PHOTOMETRICS.contains(&value);
        if CHILDREN.contains(&tag) {
            children.push((length, value));
        } else if tag == MAKER_NOTE && length > 16 {
            note = Some(value);
        }
    }
    if let Ok(next) = take(reader) {
        todo.push((order, order.long(next)));
    }
    for (length, value) in children {
        if length == 1 {
            todo.push((order, value));
            continue;
        }
        reader.seek(SeekFrom::Start(value.into()))?;
        for _ in 0..(length as usize).min(MOST_DIRECTORIES) {
            todo.push((order, order.long(take(reader)?)));
        }
    }
    if let Some(start) = note {
        reader.seek(SeekFrom::Start(start.into()))?;
        todo.extend(maker_note(order, start, take(reader)?));
    }
    Ok(())
}

/// Where the directory in a maker's note begins, and its byte order, by the words that makers put
/// before it.
fn maker_note(order: Order, start: u32, head: [u8; 16]) -> Option<(Order, u32)> {
    let skip = match &head {
        h if h.starts_with(b"Nikon\0\x02") => 18,
        h if h.starts_with(b"OLYMPUS") || h.starts_with(b"SONY DSC ") => 12,
        h if h.starts_with(b"FUJIFILM") => 12,
        h if h.starts_with(b"PENTAX") => 10,
        h if h.starts_with(b"OLYMP") || h.starts_with(b"EPSON") => 8,
        h if h.starts_with(b"AOC\0") => 6,
        _ => 0,
    };
    // An order mark stands before the directory, at most with a TIFF header between them.
    let marked = head
        .get(..skip)
        .unwrap_or(&head)
        .as_chunks::<2>()
        .0
        .iter()
        .rev();
    let own = marked.into_iter().find_map(|pair| match pair {
        b"II" => Some(Order::Little),
        b"MM" => Some(Order::Big),
        _ => None,
    });
    Some((own.unwrap_or(order), start.checked_add(skip as u32)?))
}

/// Bytes of one value of a TIFF field type.
const fn unit_bytes(kind: u16) -> u64 {
    match kind {
        3 | 8 => 2,
        4 | 9 | 11 => 4,
        5 | 10 | 12 => 8,
        _ => 1,
    }
}

fn take<const N: usize>(reader: &mut impl Read) -> std::io::Result<[u8; N]> {
    let mut bytes = [0; N];
    reader.read_exact(&mut bytes)?;
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;

    /// A little-endian TIFF of one directory with `entries` (tag, short value), followed by `next`.
    fn tiff(entries: &[(u16, u16)], next: u32) -> Vec<u8> {
        let mut bytes = b"II*\0\x08\0\0\0".to_vec();
        bytes.extend((entries.len() as u16).to_le_bytes());
        for (tag, value) in entries {
            bytes.extend(tag.to_le_bytes());
            bytes.extend([3, 0, 1, 0, 0, 0]);
            bytes.extend(value.to_le_bytes());
            bytes.extend([0, 0]);
        }
        bytes.extend(next.to_le_bytes());
        bytes
    }

    fn raw(cursor: &mut Cursor<Vec<u8>>) -> bool {
        look(cursor).raw
    }

    #[test]
    fn a_field_longer_than_any_file_is_absurd() {
        let mut bytes = tiff(&[(262, 32_803)], 0);
        assert!(!look(&mut Cursor::new(bytes.clone())).absurd);
        bytes[14..18].fill(0xFF);
        assert!(look(&mut Cursor::new(bytes)).absurd);
    }

    #[test]
    fn maker_notes_are_found_behind_their_makers_words() {
        let at = |head: &[u8; 16]| maker_note(Order::Big, 100, *head).unwrap();
        let (order, start) = at(b"Nikon\0\x02\x10\0\0II*\0\x08\0");
        assert!(matches!(order, Order::Little) && start == 118);
        let (order, start) = at(b"\0\x30\0\x01\0\x03\0\0\0\x01\0\0\0\0\0\0");
        assert!(matches!(order, Order::Big) && start == 100);
    }

    #[test]
    fn mosaics_are_raw_and_pictures_are_not() {
        assert!(raw(&mut Cursor::new(tiff(&[(256, 4), (262, 32_803)], 0))));
        assert!(raw(&mut Cursor::new(tiff(&[(50_706, 1)], 0))));
        assert!(!raw(&mut Cursor::new(tiff(&[(256, 4), (262, 2)], 0))));
    }

    #[test]
    fn a_ring_of_directories_ends() {
        assert!(!raw(&mut Cursor::new(tiff(&[(262, 2)], 8))));
    }

    #[test]
    fn a_cut_file_is_not_raw() {
        assert!(!raw(&mut Cursor::new(
            tiff(&[(262, 32_803)], 0)[..12].to_vec()
        )));
    }
}

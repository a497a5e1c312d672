//! A first look into TIFF directories (TIFF 6.0): enough to tell a camera's raw file from a
//! picture, before any decoder is chosen.

use std::io::{Read, Seek, SeekFrom};

/// `DNGVersion` (DNG 1.7).
const DNG_VERSION: u16 = 50_706;
const PHOTOMETRIC: u16 = 262;
const SUB_IFDS: u16 = 330;
/// Photometric interpretations of raw files (TIFF/EP, DNG): colour mosaic and linear raw.
const RAW_PHOTOMETRICS: [u32; 2] = [32_803, 34_892];
/// Directories looked at; a camera writes at most seven or so.
const MOST_DIRECTORIES: usize = 16;
const MOST_ENTRIES: u16 = 1024;

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

/// Whether the TIFF-like file behind `reader` holds raw sensor data. A file that cannot be walked
/// is not raw here; its decoder will say what is wrong with it.
pub(super) fn holds_raw(mut reader: impl Read + Seek) -> bool {
    walk(&mut reader).unwrap_or(false)
}

fn walk(reader: &mut (impl Read + Seek)) -> std::io::Result<bool> {
    let header: [u8; 8] = take(reader)?;
    let order = if header[0] == b'I' {
        Order::Little
    } else {
        Order::Big
    };
    let mut todo = vec![order.long([header[4], header[5], header[6], header[7]])];
    let mut seen = Vec::new();
    while let Some(offset) = todo.pop() {
        if offset == 0 || seen.contains(&offset) || seen.len() >= MOST_DIRECTORIES {
            continue;
        }
        seen.push(offset);
        reader.seek(SeekFrom::Start(offset.into()))?;
        let count = order.short(take(reader)?).min(MOST_ENTRIES);
        let mut children = None;
        for _ in 0..count {
            let entry: [u8; 12] = take(reader)?;
            let tag = order.short([entry[0], entry[1]]);
            let is_short = order.short([entry[2], entry[3]]) == 3;
            let length = order.long([entry[4], entry[5], entry[6], entry[7]]);
            let value = if is_short {
                order.short([entry[8], entry[9]]).into()
            } else {
                order.long([entry[8], entry[9], entry[10], entry[11]])
            };
            match tag {
                DNG_VERSION => return Ok(true),
                PHOTOMETRIC if RAW_PHOTOMETRICS.contains(&value) => return Ok(true),
                SUB_IFDS => children = Some((length, value)),
                _ => {}
            }
        }
        todo.push(order.long(take(reader)?));
        match children {
            Some((1, offset)) => todo.push(offset),
            Some((length, list)) => {
                reader.seek(SeekFrom::Start(list.into()))?;
                for _ in 0..(length as usize).min(MOST_DIRECTORIES) {
                    todo.push(order.long(take(reader)?));
                }
            }
            None => {}
        }
    }
    Ok(false)
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

    #[test]
    fn mosaics_are_raw_and_pictures_are_not() {
        assert!(holds_raw(Cursor::new(tiff(&[(256, 4), (262, 32_803)], 0))));
        assert!(holds_raw(Cursor::new(tiff(&[(50_706, 1)], 0))));
        assert!(!holds_raw(Cursor::new(tiff(&[(256, 4), (262, 2)], 0))));
    }

    #[test]
    fn a_ring_of_directories_ends() {
        assert!(!holds_raw(Cursor::new(tiff(&[(262, 2)], 8))));
    }

    #[test]
    fn a_cut_file_is_not_raw() {
        assert!(!holds_raw(Cursor::new(
            tiff(&[(262, 32_803)], 0)[..12].to_vec()
        )));
    }
}

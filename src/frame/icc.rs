//! Whether an ICC profile (ICC.1:2022) says that samples are linear.

use super::Light;

/// What the tone curves in `profile` say; `None` when they cannot be read.
///
/// Linear is a `curv` of no entries, of the single exponent 1.0 or of a straight table, or a
/// `para` with exponent 1.0. The grey curve or all three colour curves must be linear.
pub(super) fn light(profile: &[u8]) -> Option<Light> {
    let curves: Vec<bool> = [*b"kTRC", *b"rTRC", *b"gTRC", *b"bTRC"]
        .into_iter()
        .filter_map(|name| is_linear(tag(profile, name)?))
        .collect();
    let all = !curves.is_empty() && curves.iter().all(|linear| *linear);
    match (curves.is_empty(), all) {
        (true, _) => None,
        (_, true) => Some(Light::Linear),
        _ => Some(Light::ToneMapped),
    }
}

fn word(bytes: &[u8], at: usize) -> Option<u32> {
    let four = bytes.get(at..at.checked_add(4)?)?;
    Some(u32::from_be_bytes(four.try_into().ok()?))
}

fn index(bytes: &[u8], at: usize) -> Option<usize> {
    usize::try_from(word(bytes, at)?).ok()
}

/// The element called `name`: its table entry is name, offset, size after the 128-byte header.
fn tag(profile: &[u8], name: [u8; 4]) -> Option<&[u8]> {
    let count = index(profile, 128)?.min(100);
    (0..count).map(|i| 132 + 12 * i).find_map(|entry| {
        let named = profile.get(entry..entry + 4)? == name.as_slice();
        let (start, size) = (index(profile, entry + 4)?, index(profile, entry + 8)?);
        if named {
            profile.get(start..start.checked_add(size)?)
        } else {
            None
        }
    })
}

fn is_linear(curve: &[u8]) -> Option<bool> {
    match curve.get(..4)? {
        b"curv" => match index(curve, 8)? {
            0 => Some(true),
            // A single entry is the exponent in 8.8 fixed point.
            1 => Some((f64::from(word(curve, 12)? >> 16) / 256.0 - 1.0).abs() < 0.01),
            count => {
                let table = curve.get(12..)?.as_chunks::<2>().0.get(..count)?;
                let top = (count - 1) as f64;
                let straight = table.iter().enumerate().all(|(i, pair)| {
                    let level = f64::from(u16::from_be_bytes(*pair)) / 65_535.0;
                    (level - i as f64 / top).abs() < 0.005
                });
                Some(straight)
            }
        },
        // The first parameter of every type is the exponent, in 16.16 fixed point.
        b"para" => Some((f64::from(word(curve, 12)?) / 65_536.0 - 1.0).abs() < 0.01),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn profile(name: [u8; 4], curve: &[u8]) -> Vec<u8> {
        let mut bytes = vec![0; 128];
        bytes.extend(1_u32.to_be_bytes());
        bytes.extend(name);
        bytes.extend(144_u32.to_be_bytes());
        bytes.extend((curve.len() as u32).to_be_bytes());
        bytes.extend(curve);
        bytes
    }

    fn curv(entries: &[u16]) -> Vec<u8> {
        let mut bytes = b"curv\0\0\0\0".to_vec();
        bytes.extend((entries.len() as u32).to_be_bytes());
        for entry in entries {
            bytes.extend(entry.to_be_bytes());
        }
        bytes.extend([0, 0]);
        bytes
    }

    #[test]
    fn exponents() {
        assert_eq!(light(&profile(*b"kTRC", &curv(&[]))), Some(Light::Linear));
        assert_eq!(
            light(&profile(*b"gTRC", &curv(&[256]))),
            Some(Light::Linear)
        );
        let gamma_2_2 = curv(&[563]);
        assert_eq!(
            light(&profile(*b"gTRC", &gamma_2_2)),
            Some(Light::ToneMapped)
        );
        let mut para = b"para\0\0\0\0\0\0\0\0".to_vec();
        para.extend(0x0001_0000_u32.to_be_bytes());
        assert_eq!(light(&profile(*b"rTRC", &para)), Some(Light::Linear));
    }

    #[test]
    fn tables() {
        assert_eq!(
            light(&profile(*b"kTRC", &curv(&[0, 32_768, 65_535]))),
            Some(Light::Linear)
        );
        assert_eq!(
            light(&profile(*b"kTRC", &curv(&[0, 14_000, 65_535]))),
            Some(Light::ToneMapped)
        );
    }

    #[test]
    fn what_cannot_be_read_says_nothing() {
        assert_eq!(light(&[]), None);
        assert_eq!(light(&profile(*b"desc", b"text")), None);
        assert_eq!(light(&[0xFF; 200]), None);
    }
}

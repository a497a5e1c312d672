//! The sRGB curve (IEC 61966-2-1), taken back to linear light.

use std::sync::LazyLock;

/// Linear light of an sRGB-encoded level; both 0 to 1. Levels outside are carried on linearly
/// below 0 and by the curve above 1, for float files.
pub(super) fn srgb_to_linear(level: f64) -> f64 {
    if level <= 0.04045 {
        level / 12.92
    } else {
        libm::pow((level + 0.055) / 1.055, 2.4)
    }
}

/// Linear light of each 8-bit level; exactly 0 and 1 at the ends.
pub(super) static LINEAR_8: LazyLock<[f32; 256]> =
    LazyLock::new(|| std::array::from_fn(|level| srgb_to_linear(level as f64 / 255.0) as f32));

/// Linear light of each 16-bit level; exactly 0 and 1 at the ends.
pub(super) static LINEAR_16: LazyLock<Vec<f32>> = LazyLock::new(|| {
    (0..=u16::MAX)
        .map(|level| srgb_to_linear(f64::from(level) / 65_535.0) as f32)
        .collect()
});

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ends_and_middle() {
        assert_eq!((LINEAR_8[0], LINEAR_8[255]), (0.0, 1.0));
        assert_eq!((LINEAR_16[0], LINEAR_16[65_535]), (0.0, 1.0));
        // Level 188 of 255 is half the light to within a step: the well-known mid-tone of sRGB.
        assert!((LINEAR_8[188] - 0.502_89).abs() < 1e-4);
        assert!((srgb_to_linear(0.5) - 0.214_041).abs() < 1e-6);
    }

    #[test]
    fn the_two_tables_agree() {
        for level in 0..=255_usize {
            assert!((LINEAR_8[level] - LINEAR_16[level * 257]).abs() < 1e-7);
        }
    }
}

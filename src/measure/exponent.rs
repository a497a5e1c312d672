//! eˣ of several numbers at once.
//!
//! The system's exponential takes one number a call, and its last bits differ from machine to
//! machine. This one is plain arithmetic, so the loops round it are compiled to vector instructions
//! and give the same bits everywhere.

/// Numbers that are worked on side by side.
pub(super) const WIDE: usize = 8;

/// 1.5 · 2⁵²: adding it leaves the nearest whole number in the lowest bits.
const TO_WHOLE: f64 = 6_755_399_441_055_744.0;

/// Bits of the fraction of a float, below its exponent.
const FRACTION_BITS: u32 = 52;

/// eˣ for −700 ≤ x ≤ 700 to 1e−12 of itself; what is less counts as −700.
///
/// 2ᵏ goes into the exponent's bits; what is left, |r| ≤ ln 2 / 2, into its Taylor series.
#[inline(always)]
#[expect(
    clippy::inline_always,
    reason = "or its loop is not compiled to vectors"
)]
pub(super) fn exp(x: f64) -> f64 {
    let x = if x > -700.0 { x } else { -700.0 };
    let shifted = x * std::f64::consts::LOG2_E + TO_WHOLE;
    let k = shifted - TO_WHOLE;
    let r = x - k * std::f64::consts::LN_2;
    // Pairs first (Estrin): fewer steps wait for each other than in Horner's order.
    let r2 = r * r;
    let r4 = r2 * r2;
    let low = (1.0 + r) + r2 * (1.0 / 2.0 + r * (1.0 / 6.0));
    let middle = (1.0 / 24.0 + r * (1.0 / 120.0)) + r2 * (1.0 / 720.0 + r * (1.0 / 5040.0));
    let high = (1.0 / 40_320.0 + r * (1.0 / 362_880.0)) + r2 * (1.0 / 3_628_800.0);
    let series = low + r4 * (middle + r4 * high);
    let power = (shifted.to_bits() << FRACTION_BITS).wrapping_add(1.0_f64.to_bits());
    f64::from_bits(power) * series
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_is_the_exponential() {
        for i in -700_000..10_000 {
            let x = f64::from(i) * 1e-3;
            assert!((exp(x) / x.exp() - 1.0).abs() < 1e-12, "{x}");
        }
        assert!(exp(-1e9) < 1e-300 && exp(0.0) == 1.0);
    }
}

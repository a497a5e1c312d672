//! A number and how well it is known.

use serde::{Deserialize, Serialize};

/// A value with its standard error (one σ), both in the same unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Estimate {
    /// The value.
    pub value: f64,
    /// Its standard error.
    pub error: f64,
}

impl Estimate {
    /// The error as a share of the value; infinite for 0.
    #[must_use]
    pub fn relative(&self) -> f64 {
        (self.error / self.value).abs()
    }

    /// The reciprocal, its error to first order: e⁻/DN from DN/e⁻.
    #[must_use]
    pub fn inverse(&self) -> Self {
        Self {
            value: 1.0 / self.value,
            error: self.relative() / self.value.abs(),
        }
    }

    /// Value and error times `factor`.
    #[must_use]
    pub fn times(&self, factor: f64) -> Self {
        Self {
            value: self.value * factor,
            error: self.error * factor.abs(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_reciprocal_keeps_the_relative_error() {
        let gain = Estimate {
            value: 0.8,
            error: 0.008,
        };
        assert!((gain.inverse().value - 1.25).abs() < 1e-12);
        assert!((gain.inverse().error - 0.0125).abs() < 1e-12);
        assert!((gain.times(-2.0).error - 0.016).abs() < 1e-12);
    }
}

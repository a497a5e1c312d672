//! A polynomial in place for each component of the vector (L² cos 2θ, L² sin 2θ).

use super::Datum;
use crate::base::Spin2;
use crate::base::linalg::solve;

/// Terms of a cubic in two variables.
const TERMS: usize = 10;

/// Number of terms by order.
pub(super) const TERMS_OF: [usize; 4] = [1, 3, 6, 10];

/// A polynomial of up to third order, with what its coefficients do not know.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Polynomial {
    terms: usize,
    cos: [f64; TERMS],
    sin: [f64; TERMS],
    /// Covariance of the coefficients of either component for stars of unit variance.
    covariance: [[f64; TERMS]; TERMS],
}

impl Polynomial {
    /// The polynomial of `terms` terms nearest to the stars; `None` when they do not fix it.
    pub(super) fn fitted(data: &[Datum], terms: usize) -> Option<Self> {
        let mut normal = [[0.0; TERMS]; TERMS];
        let (mut cos, mut sin) = ([0.0; TERMS], [0.0; TERMS]);
        for datum in data {
            let basis = basis(datum.u, datum.v);
            for (i, &a) in basis.iter().enumerate().take(terms) {
                let weighted = datum.weight * a;
                if let (Some(line), Some(c), Some(s)) =
                    (normal.get_mut(i), cos.get_mut(i), sin.get_mut(i))
                {
                    *c += weighted * datum.spin.cos;
                    *s += weighted * datum.spin.sin;
                    for (cell, &b) in line.iter_mut().zip(&basis).take(terms) {
                        *cell += weighted * b;
                    }
                }
            }
        }
        for (i, line) in normal.iter_mut().enumerate().skip(terms) {
            if let Some(cell) = line.get_mut(i) {
                *cell = 1.0;
            }
        }
        Some(Self {
            terms,
            cos: solve(normal, cos)?,
            sin: solve(normal, sin)?,
            covariance: inverse(&normal)?,
        })
    }

    /// Terms of each component.
    pub(super) fn terms(&self) -> usize {
        self.terms
    }

    /// The vector at a place.
    pub(super) fn at(&self, u: f64, v: f64) -> Spin2 {
        let basis = basis(u, v);
        let sum = |coefficients: &[f64; TERMS]| {
            let products = basis.iter().zip(coefficients).take(self.terms);
            products.map(|(b, c)| b * c).sum()
        };
        Spin2 {
            cos: sum(&self.cos),
            sin: sum(&self.sin),
        }
    }

    /// Change of the vector to the right and down, at the frame's centre.
    pub(super) fn slopes(&self) -> (Spin2, Spin2) {
        let of = |term: usize| Spin2 {
            cos: if term < self.terms {
                self.cos[term]
            } else {
                0.0
            },
            sin: if term < self.terms {
                self.sin[term]
            } else {
                0.0
            },
        };
        (of(1), of(2))
    }

    /// Change of the vector at a place with each number: those of its cosine, then of its sine.
    pub(super) fn slopes_at(&self, u: f64, v: f64) -> Vec<Spin2> {
        let basis = basis(u, v);
        let terms = || basis.iter().take(self.terms);
        let cos = terms().map(|&cos| Spin2 { cos, sin: 0.0 });
        let sin = terms().map(|&sin| Spin2 { cos: 0.0, sin });
        cos.chain(sin).collect()
    }

    /// The covariance of the numbers, in the order of [`Self::slopes_at`], times a vector.
    pub(super) fn carried(&self, vector: &[f64]) -> Vec<f64> {
        let dot =
            |line: &[f64; TERMS], part: &[f64]| line.iter().zip(part).map(|(m, a)| m * a).sum();
        let halves = vector.chunks(self.terms.max(1));
        halves
            .flat_map(|part| {
                let lines = self.covariance.iter().take(self.terms);
                lines.map(move |line| dot(line, part))
            })
            .collect()
    }

    /// Variance of each component at a place for stars of unit variance.
    pub(super) fn variance(&self, u: f64, v: f64) -> f64 {
        let mut basis = basis(u, v);
        basis.iter_mut().skip(self.terms).for_each(|b| *b = 0.0);
        quadratic(&self.covariance, &basis)
    }
}

fn basis(u: f64, v: f64) -> [f64; TERMS] {
    let (uu, uv, vv) = (u * u, u * v, v * v);
    [1.0, u, v, uu, uv, vv, uu * u, uu * v, u * vv, vv * v]
}

/// `vectorᵀ · matrix · vector`.
pub(in crate::measure) fn quadratic<const N: usize>(
    matrix: &[[f64; N]; N],
    vector: &[f64; N],
) -> f64 {
    let lines = matrix.iter().zip(vector);
    lines
        .map(|(line, a)| a * line.iter().zip(vector).map(|(m, b)| m * b).sum::<f64>())
        .sum()
}

/// The inverse of a symmetric matrix; `None` when it has none.
pub(super) fn inverse<const N: usize>(matrix: &[[f64; N]; N]) -> Option<[[f64; N]; N]> {
    let mut out = [[0.0; N]; N];
    for (i, line) in out.iter_mut().enumerate() {
        let mut unit = [0.0; N];
        if let Some(one) = unit.get_mut(i) {
            *one = 1.0;
        }
        *line = solve(*matrix, unit)?;
    }
    Some(out)
}

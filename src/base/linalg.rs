//! Small dense systems.

/// Solves `matrix · x = right` in place by Gaussian elimination with partial pivoting, for a
/// small square matrix; `None` when it is singular to working accuracy.
#[must_use]
pub fn solve<const N: usize>(mut matrix: [[f64; N]; N], mut right: [f64; N]) -> Option<[f64; N]> {
    for column in 0..N {
        let pivot = (column..N)
            .max_by(|&a, &b| matrix[a][column].abs().total_cmp(&matrix[b][column].abs()))?;
        if matrix[pivot][column].abs() < 1e-300 || !matrix[pivot][column].is_finite() {
            return None;
        }
        matrix.swap(column, pivot);
        right.swap(column, pivot);
        for row in column + 1..N {
            let factor = matrix[row][column] / matrix[column][column];
            let above = matrix[column];
            for (below, above) in matrix[row].iter_mut().zip(above).skip(column) {
                *below -= factor * above;
            }
            right[row] -= factor * right[column];
        }
    }
    let mut x = [0.0; N];
    for row in (0..N).rev() {
        let known: f64 = (row + 1..N).map(|k| matrix[row][k] * x[k]).sum();
        x[row] = (right[row] - known) / matrix[row][row];
    }
    Some(x)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn solves_a_known_system() {
        let x = solve(
            [[2.0, 1.0, -1.0], [-3.0, -1.0, 2.0], [-2.0, 1.0, 2.0]],
            [8.0, -11.0, -3.0],
        )
        .unwrap();
        for (got, want) in x.iter().zip([2.0, 3.0, -1.0]) {
            assert!((got - want).abs() < 1e-12);
        }
    }

    #[test]
    fn singular_is_none() {
        assert!(solve([[1.0, 2.0], [2.0, 4.0]], [1.0, 2.0]).is_none());
    }
}

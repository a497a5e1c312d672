//! A rectangle of samples.

/// A rectangle of `f32` samples in rows, top row first.
///
/// The centre of the first sample is at (0, 0), x runs right, y runs down; so the corner of the
/// plane is at (−0.5, −0.5).
#[derive(Debug, Clone, PartialEq)]
pub struct Plane {
    width: usize,
    height: usize,
    data: Vec<f32>,
}

impl Plane {
    /// A plane of `width` × `height` zeros.
    #[must_use]
    pub fn new(width: usize, height: usize) -> Self {
        Self {
            width,
            height,
            data: vec![0.0; width * height],
        }
    }

    /// A plane over `data` in row order; `None` when the length is not `width * height`.
    #[must_use]
    pub fn from_vec(width: usize, height: usize, data: Vec<f32>) -> Option<Self> {
        (data.len() == width.checked_mul(height)?).then_some(Self {
            width,
            height,
            data,
        })
    }

    /// Width in samples.
    #[must_use]
    pub const fn width(&self) -> usize {
        self.width
    }

    /// Height in samples.
    #[must_use]
    pub const fn height(&self) -> usize {
        self.height
    }

    /// All samples in row order.
    #[must_use]
    pub fn data(&self) -> &[f32] {
        &self.data
    }

    /// All samples in row order, to change in place.
    pub fn data_mut(&mut self) -> &mut [f32] {
        &mut self.data
    }

    /// The samples, giving the buffer away.
    #[must_use]
    pub fn into_vec(self) -> Vec<f32> {
        self.data
    }

    /// Row `y`.
    ///
    /// # Panics
    /// When `y` is outside the plane.
    #[must_use]
    pub fn row(&self, y: usize) -> &[f32] {
        &self.data[y * self.width..(y + 1) * self.width]
    }

    /// Row `y`, to change in place.
    ///
    /// # Panics
    /// When `y` is outside the plane.
    pub fn row_mut(&mut self, y: usize) -> &mut [f32] {
        &mut self.data[y * self.width..(y + 1) * self.width]
    }

    /// The sample at (`x`, `y`), or `None` outside the plane.
    #[must_use]
    pub fn get(&self, x: usize, y: usize) -> Option<f32> {
        (x < self.width && y < self.height).then(|| self.data[y * self.width + x])
    }

    /// Length of the diagonal in samples.
    #[must_use]
    pub fn diagonal(&self) -> f64 {
        (self.width as f64).hypot(self.height as f64)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_and_bounds() {
        let plane = Plane::from_vec(2, 2, vec![1.0, 2.0, 3.0, 4.0]).unwrap();
        assert_eq!(plane.row(1), &[3.0, 4.0]);
        assert_eq!(plane.get(1, 0), Some(2.0));
        assert_eq!(plane.get(2, 0), None);
        assert!(Plane::from_vec(2, 2, vec![1.0]).is_none());
    }
}

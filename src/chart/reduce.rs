//! Fewer points than pixels: what is dropped would have been painted over.

/// A point to draw.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dot {
    /// Across, px.
    pub x: f32,
    /// Down, px.
    pub y: f32,
    /// Points of another class look different and are kept apart.
    pub class: u8,
}

/// Indices of the dots to draw, rising: in each column of one pixel the highest and the lowest of
/// each class. Extremes are never lost. Dots must come in order of x.
#[must_use]
pub fn keep_extremes(dots: &[Dot]) -> Vec<usize> {
    let mut kept = Vec::with_capacity(dots.len().min(8192));
    let mut from = 0;
    while let Some(first) = dots.get(from) {
        let column = first.x.floor() as i64;
        let length = (dots[from..].iter())
            .take_while(|dot| dot.x.floor() as i64 == column)
            .count();
        let to = from + length.max(1);
        for class in 0..=u8::MAX {
            let mut of_class = (from..to).filter(|&i| dots[i].class == class).peekable();
            if of_class.peek().is_some() {
                let by_y = |&a: &usize, &b: &usize| dots[a].y.total_cmp(&dots[b].y);
                let low = of_class.clone().min_by(by_y);
                let high = of_class.max_by(by_y);
                kept.extend(low);
                kept.extend(high.filter(|high| Some(*high) != low));
            }
            if (from..to).all(|i| dots[i].class <= class) {
                break;
            }
        }
        from = to;
    }
    kept.sort_unstable();
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn extremes_of_each_class_stay() {
        let dots: Vec<Dot> = (0..10_000)
            .map(|i| Dot {
                x: i as f32 / 100.0,
                y: if i == 5_555 { -50.0 } else { (i % 7) as f32 },
                class: u8::from(i == 1_234),
            })
            .collect();
        let kept = keep_extremes(&dots);
        assert!(kept.len() <= 100 * 2 + 1, "{}", kept.len());
        assert!(kept.contains(&5_555));
        assert!(kept.contains(&1_234));
        assert!(kept.is_sorted());
    }

    #[test]
    fn sparse_points_all_stay() {
        let dots: Vec<Dot> = (0..50)
            .map(|i| Dot {
                x: i as f32 * 2.0,
                y: 1.0,
                class: 0,
            })
            .collect();
        assert_eq!(keep_extremes(&dots).len(), 50);
        assert!(keep_extremes(&[]).is_empty());
    }
}

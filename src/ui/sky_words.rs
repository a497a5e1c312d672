//! The sky's light in words: its colours, which way it brightens, and what that looks like.

use crate::measure::Glow;
use crate::night::Row;

/// A glow's colour differs from the dark sky's past this ratio.
const TINTED: f64 = 1.2;

/// Sentences for the tip of a frame's facts; none when nothing of it was measured.
pub(super) fn tell(row: &Row) -> Vec<String> {
    let Some(sky) = row.measure.as_deref().map(|measure| &measure.sky) else {
        return Vec::new();
    };
    let mut told = Vec::new();
    if let (Some(red), Some(blue)) = (sky.red_pct, sky.blue_pct) {
        told.push(format!(
            "Sky: red {red:.1} %, green {:.1} %, blue {blue:.1} % of full scale, not balanced.",
            sky.level_pct
        ));
    }
    if let Some(towards) = row.derived.sky_brightens_deg {
        told.push(format!(
            "It brightens towards the {}: its brightest tenth is {:.1} % of full scale over its \
             darkest.",
            side(towards),
            sky.gradient_pct
        ));
    }
    told.extend(sky.glow.map(colour));
    told
}

/// The side or corner of the picture in this direction, anticlockwise from right.
fn side(degrees: f64) -> &'static str {
    const SIDES: [&str; 8] = [
        "right",
        "upper right",
        "top",
        "upper left",
        "left",
        "lower left",
        "bottom",
        "lower right",
    ];
    let eighth = (degrees.rem_euclid(360.0) / 45.0).round() as usize;
    SIDES[eighth % SIDES.len()]
}

fn colour(glow: Glow) -> String {
    let Glow { red, blue } = glow;
    let like = if red > TINTED && blue < 1.0 / TINTED {
        "warmer than the dark sky, as lamps or a low Moon make it"
    } else if blue > TINTED && red < 1.0 / TINTED {
        "bluer than the dark sky, as dusk or a high Moon makes it"
    } else {
        "of much the same colour as the dark sky"
    };
    format!("What is added there is {like} (red × {red:.1}, blue × {blue:.1}).")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sides_are_named_as_they_are_seen() {
        assert_eq!(side(0.0), "right");
        assert_eq!(side(350.0), "right");
        assert_eq!(side(90.0), "top");
        assert_eq!(side(225.0), "lower left");
    }

    #[test]
    fn colours_are_told_from_each_other() {
        let words = |red, blue| colour(Glow { red, blue });
        assert!(words(1.7, 0.5).contains("warmer"));
        assert!(words(0.7, 1.5).contains("bluer"));
        assert!(words(1.1, 1.0).contains("much the same"));
    }
}

//! Terms of the trade, each in a sentence with its unit, shown where the term stands.

/// Term and sentence, in order of the alphabet.
const TERMS: &[(&str, &str)] = &[
    (
        "arc",
        "How far the sky turns from the first used frame's start to the last one's end, in degrees: \
         15 an hour. It is how long each trail of the picture will be.",
    ),
    (
        "doubtful",
        "Something in the frame is out of line, but it is used: look at it before you decide.",
    ),
    (
        "elongation",
        "A star's long axis over its short one: 1 is round. Trails make it longer.",
    ),
    (
        "film",
        "Seconds of film that the used frames make, at so many frames a second.",
    ),
    (
        "findings",
        "What happened in the night, each cause once, with its evidence and what can be done about \
         it. The one that costs your purpose most comes first.",
    ),
    (
        "gap",
        "The widest break in the trails, in pixels, where stars move fastest in the frame: time \
         with no shutter open times that speed.",
    ),
    ("keep", "Nothing in the frame is out of line: use it."),
    (
        "next time",
        "What to set differently, from what was measured tonight. Changed settings come first.",
    ),
    (
        "noise",
        "How much one green pixel of sky varies by chance, in percent of full scale. It grows with \
         the sky's light and falls when frames are stacked.",
    ),
    (
        "open",
        "Time the shutter was open in the used frames, all together.",
    ),
    (
        "pointing shift",
        "How far the camera pointed from where it did in the first frame with the same settings, in \
         pixels, once the sky's own motion is taken out.",
    ),
    (
        "reject",
        "Leave the frame out. Nothing is deleted or moved: it is only marked.",
    ),
    (
        "sky background",
        "How bright the sky between the stars is, in percent of full scale above black, in linear \
         light: its median over the sky.",
    ),
    (
        "star shape",
        "How far stars moved while the shutter was open, in pixels, beside what the sky's turning \
         predicts; the line is how wide they are across the trail (at half their height).",
    ),
    (
        "stars counted",
        "Stars five times above the noise, hot pixels and streaks left out. Cloud and dew make it \
         fall; so does a brighter sky.",
    ),
    (
        "used",
        "Frames that go into the result: kept and doubtful ones.",
    ),
];

/// What `term` means; empty for one that is not in the table.
pub(super) fn meaning(term: &str) -> &'static str {
    (TERMS
        .iter()
        .find(|(name, _)| name.eq_ignore_ascii_case(term)))
    .map_or("", |(_, text)| text)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chart::LaneKind;

    #[test]
    fn terms_are_in_order_and_every_lane_is_explained() {
        assert!(TERMS.is_sorted_by_key(|(term, _)| *term));
        for lane in LaneKind::ALL {
            assert!(!meaning(lane.name()).is_empty(), "{}", lane.name());
        }
    }
}

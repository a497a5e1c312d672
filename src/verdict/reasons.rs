//! The registry of reasons: one entry each, from which tables, legend and help follow.

use super::types::Reason;

/// What sort of news a reason is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum News {
    /// A gift: never rejected.
    Good,
    /// It costs something.
    Bad,
    /// Worth knowing.
    Info,
}

/// All that is said about one reason.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ReasonInfo {
    /// The reason.
    pub reason: Reason,
    /// Its code in the table's `reasons` column.
    pub code: &'static str,
    /// Short words for the chart.
    pub label: &'static str,
    /// Words that begin a finding's title.
    pub title: &'static str,
    /// Good, bad or neither.
    pub news: News,
    /// One sentence for help and glossary.
    pub meaning: &'static str,
}

/// Every reason, weightiest first: where evidence weighs the same, the earlier one leads.
pub const REASONS: [ReasonInfo; 14] = [
    entry(
        Reason::Unreadable,
        "unreadable",
        "unreadable",
        "Cannot be read",
        News::Bad,
        "The file could not be decoded, so nothing in it was measured; it counts as a missing frame.",
    ),
    entry(
        Reason::DarkFrame,
        "dark-frame",
        "dark frame",
        "No light",
        News::Bad,
        "Taken with the cap on, or black all over; it can serve as a dark frame but not as sky.",
    ),
    entry(
        Reason::OverExposed,
        "over-exposed",
        "over-exposed",
        "Over-exposed",
        News::Bad,
        "A large part of the frame is at full scale, where neither stars nor sky can be told.",
    ),
    entry(
        Reason::Knock,
        "knock",
        "knock",
        "Knock",
        News::Bad,
        "The camera was pushed: it points elsewhere than in the frames before, or stars are doubled \
         because it moved during the exposure.",
    ),
    entry(
        Reason::Trailed,
        "trailed",
        "longer trails",
        "Longer trails",
        News::Bad,
        "Stars moved further during the exposure than the sky's turning predicts, or are less round \
         than a tracked frame should be: the camera moved. Trails that are too short are told too.",
    ),
    entry(
        Reason::Defocus,
        "defocus",
        "wider stars",
        "Wider stars",
        News::Bad,
        "Stars are wider across the trail than in the night's sharp frames: focus, dew or haze.",
    ),
    entry(
        Reason::FewStars,
        "few-stars",
        "few stars",
        "Fewer stars",
        News::Bad,
        "Far fewer stars than in the frames before and after, stars that lost light, or too few to \
         judge by.",
    ),
    entry(
        Reason::Sky,
        "sky",
        "sky",
        "Sky out of line",
        News::Bad,
        "The sky is brighter or darker than in the frames before and after, or than the night's \
         darkest tenth.",
    ),
    entry(
        Reason::Twilight,
        "twilight",
        "twilight",
        "Twilight",
        News::Bad,
        "The sky is brighter than the night's darkest, and the Sun was less than 18° below the \
         horizon.",
    ),
    entry(
        Reason::Moonlight,
        "moonlight",
        "moonlight",
        "Moonlight",
        News::Bad,
        "The sky is brighter than the night's darkest, and the Moon was up and lit enough to make it so.",
    ),
    entry(
        Reason::Noise,
        "noise",
        "noise",
        "More noise",
        News::Bad,
        "One sample of sky scatters more than in the frames before and after.",
    ),
    entry(
        Reason::Streak,
        "streak",
        "streak",
        "Streak",
        News::Info,
        "A long line that does not follow the sky's turning: an aircraft, a satellite or a meteor.",
    ),
    entry(
        Reason::Gap,
        "gap",
        "gap",
        "Frames missing",
        News::Bad,
        "More time passed before this frame than the others leave: exposures are missing there.",
    ),
    entry(
        Reason::SettingsChanged,
        "settings-changed",
        "other settings",
        "Other settings",
        News::Info,
        "Exposure, ISO, aperture or lens differ from most of the night, so its values do not compare.",
    ),
];

const fn entry(
    reason: Reason,
    code: &'static str,
    label: &'static str,
    title: &'static str,
    news: News,
    meaning: &'static str,
) -> ReasonInfo {
    ReasonInfo {
        reason,
        code,
        label,
        title,
        news,
        meaning,
    }
}

impl Reason {
    /// Place in [`REASONS`]; a test holds the two together.
    #[must_use]
    pub const fn place(self) -> usize {
        match self {
            Self::Unreadable => 0,
            Self::DarkFrame => 1,
            Self::OverExposed => 2,
            Self::Knock => 3,
            Self::Trailed => 4,
            Self::Defocus => 5,
            Self::FewStars => 6,
            Self::Sky => 7,
            Self::Twilight => 8,
            Self::Moonlight => 9,
            Self::Noise => 10,
            Self::Streak => 11,
            Self::Gap => 12,
            Self::SettingsChanged => 13,
        }
    }

    /// Whether it is about the sky's level, whatever lit it.
    #[must_use]
    pub const fn is_about_the_sky(self) -> bool {
        matches!(self, Self::Sky | Self::Twilight | Self::Moonlight)
    }

    /// Whether it is light that belongs to the night: a film is never cut for it.
    #[must_use]
    pub const fn is_natural_light(self) -> bool {
        matches!(self, Self::Twilight | Self::Moonlight)
    }

    /// Its entry in the registry.
    #[must_use]
    pub const fn info(self) -> &'static ReasonInfo {
        &REASONS[self.place()]
    }

    /// Its code in the table's `reasons` column.
    #[must_use]
    pub const fn code(self) -> &'static str {
        self.info().code
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_and_entries_agree() {
        for (place, info) in REASONS.iter().enumerate() {
            assert_eq!(info.reason.place(), place, "{}", info.code);
            assert!(info.meaning.ends_with('.'), "{}", info.code);
        }
    }

    #[test]
    fn codes_are_unique_words() {
        for info in &REASONS {
            let same = REASONS.iter().filter(|other| other.code == info.code);
            assert_eq!(same.count(), 1);
            assert!(
                info.code
                    .chars()
                    .all(|c| c.is_ascii_lowercase() || c == '-')
            );
        }
    }
}

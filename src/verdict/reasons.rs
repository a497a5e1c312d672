//! The registry of reasons: one entry each, from which tables, legend and help follow.

use super::types::Reason;
use crate::night::Cause;

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
pub const REASONS: [ReasonInfo; 29] = [
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
        "The camera was pushed: it points elsewhere than in the frames before, or stars are doubled because it moved during the exposure.",
    ),
    entry(
        Reason::Settling,
        "settling",
        "settling",
        "Settling",
        News::Bad,
        "Trails are too long at the start and shorter from frame to frame: the tripod came to rest after it was touched.",
    ),
    entry(
        Reason::Wind,
        "wind",
        "shaken",
        "Shaken",
        News::Bad,
        "Stars moved further than the sky's turning predicts and the camera points where it did before: it shook and came back, as in wind or when someone touches it.",
    ),
    entry(
        Reason::Trailed,
        "trailed",
        "longer trails",
        "Longer trails",
        News::Bad,
        "Stars moved further during the exposure than the sky's turning predicts, or are less round than a tracked frame should be: the camera moved. Trails that are too short are told too.",
    ),
    entry(
        Reason::Dew,
        "dew",
        "dew",
        "Dew",
        News::Bad,
        "Stars swell slowly and fade: moisture, or frost, settles on the lens.",
    ),
    entry(
        Reason::FocusDrift,
        "focus-drift",
        "focus drift",
        "Focus drift",
        News::Bad,
        "Stars widen slowly and keep their light: the focus creeps, mostly as lens and tube cool.",
    ),
    entry(
        Reason::Defocus,
        "defocus",
        "wider stars",
        "Wider stars",
        News::Bad,
        "Stars are wider across the trail than in the night's sharp frames; where they keep their light and the change came at once, the focus moved.",
    ),
    entry(
        Reason::Cloud,
        "cloud",
        "cloud",
        "Cloud",
        News::Bad,
        "The same stars lost light and kept their width, mostly unevenly over the frame: cloud.",
    ),
    entry(
        Reason::FewStars,
        "few-stars",
        "few stars",
        "Fewer stars",
        News::Bad,
        "Far fewer stars than in the frames before and after, stars that lost light, or too few to judge by.",
    ),
    entry(
        Reason::StrayLight,
        "stray-light",
        "stray light",
        "Stray light",
        News::Bad,
        "Lamplight on the ground or in the sky for a few frames: headlights or a torch. Stars keep their light.",
    ),
    entry(
        Reason::Sky,
        "sky",
        "sky",
        "Sky out of line",
        News::Bad,
        "The sky is brighter or darker than in the frames before and after, or than the night's darkest tenth.",
    ),
    entry(
        Reason::Twilight,
        "twilight",
        "twilight",
        "Twilight",
        News::Bad,
        "The sky is brighter than the night's darkest, and the Sun was less than 18° below the horizon.",
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
        Reason::Aircraft,
        "aircraft",
        "aircraft",
        "Aircraft",
        News::Info,
        "A line with lamps that flash evenly.",
    ),
    entry(
        Reason::Satellite,
        "satellite",
        "satellite",
        "Satellite",
        News::Info,
        "An even line that the shutter or the frame's edge cuts off, or that goes on in the next frame.",
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
        Reason::Insects,
        "insects",
        "insects",
        "Insects",
        News::Info,
        "Several short lines that run every way in one frame, as insects near the lens draw them.",
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
        Reason::DarkSubtraction,
        "dark-subtraction",
        "dark subtraction",
        "Dark subtraction",
        News::Bad,
        "The shutter is shut about as long as it is open: the camera takes a dark frame after each exposure, and half of every trail is missing.",
    ),
    entry(
        Reason::EarlyStop,
        "early-stop",
        "early stop",
        "Early stop",
        News::Info,
        "The frames end before the night did: battery or card may have ended.",
    ),
    entry(
        Reason::SettingsChanged,
        "settings-changed",
        "other settings",
        "Other settings",
        News::Info,
        "Exposure, ISO, aperture or lens differ from most of the night, so its values do not compare.",
    ),
    entry(
        Reason::Lightning,
        "lightning",
        "lightning",
        "Lightning",
        News::Good,
        "Cold light in single frames, none before or after each: flashes.",
    ),
    entry(
        Reason::Aurora,
        "aurora",
        "aurora",
        "Aurora",
        News::Good,
        "Green light in the sky that changes from frame to frame.",
    ),
    entry(
        Reason::Meteor,
        "meteor",
        "meteor",
        "Meteor",
        News::Good,
        "A line in one frame that swells and fades at both ends.",
    ),
    entry(
        Reason::Airglow,
        "airglow",
        "airglow",
        "Airglow",
        News::Info,
        "Faint green light in the sky that changes slowly: the air's own.",
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
        self as usize
    }

    /// Whether it is about the sky's level, whatever lit it.
    #[must_use]
    pub const fn is_about_the_sky(self) -> bool {
        matches!(self, Self::Sky | Self::Twilight | Self::Moonlight)
    }

    /// Whether it is light that belongs to the night: a film is never cut for it.
    #[must_use]
    pub const fn is_natural_light(self) -> bool {
        matches!(
            self,
            Self::Twilight | Self::Moonlight | Self::Aurora | Self::Airglow
        )
    }

    /// The reason of a cause that the night tells.
    #[must_use]
    pub const fn of(cause: Cause) -> Self {
        match cause {
            Cause::Cloud => Self::Cloud,
            Cause::Dew => Self::Dew,
            Cause::Defocus => Self::Defocus,
            Cause::FocusDrift => Self::FocusDrift,
            Cause::Wind => Self::Wind,
            Cause::Settling => Self::Settling,
            Cause::StrayLight => Self::StrayLight,
            Cause::Lightning => Self::Lightning,
            Cause::Aurora => Self::Aurora,
            Cause::Airglow => Self::Airglow,
            Cause::Insects => Self::Insects,
            Cause::Aircraft => Self::Aircraft,
            Cause::Satellite => Self::Satellite,
            Cause::Meteor => Self::Meteor,
            Cause::Moonrise => Self::Moonlight,
            Cause::DarkSubtraction => Self::DarkSubtraction,
            Cause::EarlyStop => Self::EarlyStop,
        }
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

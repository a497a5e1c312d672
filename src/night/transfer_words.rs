//! Why photon transfer is missing or uncertain, in sentences.

use crate::measure::PairFault;
use crate::measure::transfer::NoLine;

pub(super) const ONE_FRAME: &str =
    "There is only one frame at these settings; gain and noise need two in a row.";
pub(super) const NO_PAIR: &str =
    "No two frames in a row are alike enough in brightness to tell noise from change.";
pub(super) const TOO_BRIGHT: &str =
    "The sky is brighter than 70 % of full scale, where numbers no longer follow the light.";
pub(super) const UNREADABLE: &str = "The frames could not be read a second time.";
pub(super) const NO_ISO: &str = "The files do not tell the ISO setting; if it changed by itself \
    between frames, these numbers are of none of them.";
pub(super) const NO_DARKS: &str = "There are no two dark frames at this ISO, so read noise is what \
    the sky's levels say of black; two frames with the cap on would tell it.";
pub(super) const BLACK_UNKNOWN: &str =
    "The files do not tell which number is black; two dark frames would tell read noise.";

pub(super) const fn of_sky_fault(fault: PairFault) -> &'static str {
    match fault {
        PairFault::ToneMapped => {
            "These files are tone-mapped, as JPEGs are: their numbers do not follow the light, so \
             gain and read noise cannot be told. Raw files tell them."
        }
        PairFault::Unlike => "The frames differ in size.",
        PairFault::Copies => "The frames that should make a pair hold the same picture.",
        PairFault::Tied => {
            "Neighbouring pixels share their noise: the files were developed or smoothed, and the \
             sensor's own noise is gone. Raw files tell it."
        }
        PairFault::BlackCut => {
            "The sky is so dark that its noise is cut off at black; a longer exposure would show it."
        }
        PairFault::TooFew => "Too little of the frame is free sky.",
    }
}

pub(super) const fn of_dark_fault(fault: PairFault) -> &'static str {
    match fault {
        PairFault::BlackCut => {
            "The dark frames are cut off at black, so their noise is not all there; read noise is \
             what the sky's levels say of black."
        }
        PairFault::Copies => "The dark frames hold the same picture, and tell no noise.",
        PairFault::Tied => "The dark frames were developed or smoothed, and tell no noise.",
        _ => "The dark frames tell no noise.",
    }
}

pub(super) const fn of_no_line(why: NoLine) -> &'static str {
    match why {
        NoLine::FewLevels => "Too little of the frame is free sky.",
        NoLine::TooBright => TOO_BRIGHT,
        NoLine::Flat => "Noise does not grow with brightness here, so it tells no gain.",
    }
}

/// `range` as fractions of full scale, `error` as a share of the gain.
pub(super) fn no_range(range: (f64, f64), error: f64) -> String {
    format!(
        "The sky is too even to tell the gain: its levels reach only from {:.2} to {:.2} % of full \
         scale, and the gain would be known to {:.0} %. Dark frames or frames of another exposure \
         would tell it.",
        100.0 * range.0,
        100.0 * range.1,
        100.0 * error
    )
}

pub(super) fn read_noise_below(limit_e: f64) -> String {
    format!("All that these frames tell of read noise is that it is under {limit_e:.1} electrons.")
}

//! The window's title: how far it is, what is open, and the program's name.

use super::model::Model;
use crate::engine::Progress;

const PROGRAM: &str = "nightloupe";

/// The title: while something runs how far it is, then the open night or what is being opened, and
/// after an opening that failed that it did ("45 of 120 · Yarrowick Fell · nightloupe").
#[must_use]
pub fn title(model: &Model) -> String {
    let how_far = |progress: &Progress| format!("{} of {}", progress.done, progress.total);
    let mut parts = Vec::new();
    if let Some(opening) = &model.opening {
        parts.extend(opening.progress.as_ref().map(how_far));
        parts.push(format!("opening {}", opening.what));
    } else if let Some(night) = &model.night {
        let running = night.building.as_ref().or(night.progress.as_ref());
        parts.extend(running.map(how_far));
        // Until the first word on how far it is, so that the bare name means: it has ended.
        let is_new = running.is_none() && night.finished.is_none();
        parts.push(format!(
            "{}{}",
            if is_new { "opening " } else { "" },
            night.title
        ));
    } else if model.open_error.is_some() {
        parts.push("could not open".to_owned());
    }
    parts.push(PROGRAM.to_owned());
    parts.join(" · ")
}

//! The window's state without a window: Model, Action, commands, undo.
//!
//! In: actions and the engine's reports. Out: a changed model and effects to run. What is drawn
//! belongs to `ui`.

pub mod action;
pub mod answer;
pub mod apply;
pub mod chords;
pub mod choosing;
pub mod commands;
pub mod comparing;
pub mod deciding;
pub mod film_levels;
pub mod handing_over;
pub mod model;
pub mod open_night;
pub mod pictures;
pub mod preferences;
pub mod reports;
pub mod result_sources;
pub mod result_table;
pub mod resulting;
pub mod title;
pub mod undo;
pub mod watching;

pub use action::Action;
pub use commands::{COMMANDS, Chord, Command, Key};
pub use comparing::{CROP_SIDE, Comparing, CropState, Field, Side};
pub use handing_over::Handing;
pub use model::{Mark, Marks, Model, Notice, Opening, Page, PictureZoom, Theme};
pub use open_night::{Answer, FindingKey, OpenNight};
pub use pictures::PictureState;
pub use preferences::Comfort;
pub use result_table::{ResultTable, SideNumbers};
pub use resulting::{FILM_RATES, ResultAction, ResultView, Resulting, RunEnd};
pub use title::title;
pub use undo::{Step, UndoStack};

#[cfg(test)]
mod tests;

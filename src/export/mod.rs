//! What leaves the program: the measurement table as CSV and JSON, lists of frames, plain text; and what
//! the verdicts lead to on the disk.
//!
//! In: a [`Table`], which is the night, its verdicts and the person's decisions. Out: bytes into any
//! writer; files are written atomically by whoever asked. What a column means is in `columns`, one
//! entry each; numbers themselves come from the rooms before.

pub mod columns;
pub mod handover;
pub mod report;
pub mod text;

mod camera;
mod field_check;
mod json;
mod lists;
mod settings;
mod table;
#[cfg(test)]
mod tests;

pub use columns::{COLUMNS, Cell, Column};
pub use field_check::field_check;
pub use json::write_json;
pub use lists::{write_rejected, write_used};
pub use settings::{SETTING_COLUMNS, SettingColumn, settings_text, write_settings_csv};
pub use table::{Table, write_csv};

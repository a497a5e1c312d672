//! Numbers from outside the project, each with its source.

mod heavens;
mod open_image;

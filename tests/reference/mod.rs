//! Numbers from outside the project, each with its source.

mod emva;
mod heavens;
mod open_image;
mod rating_files;

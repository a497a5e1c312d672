//! Saving a film: its frames, numbered, in a folder of their own.

use std::fs;
use std::io;
use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

use super::FilmFiles;
use super::FilmFrameOf;
use crate::base::atomic::{self, Existing};
use crate::frame::{Colour, Orientation};
use crate::picture::{PictureFormat, Turn, encode_picture, reduce_to};

/// Longest side of a film's frames when they are not saved at full size, px.
const FILM_SIDE: usize = 1920;

/// What is saved.
#[derive(Debug)]
pub(super) struct Film {
    pub(super) frames: Vec<FilmFrameOf>,
    pub(super) files: FilmFiles,
    pub(super) orientation: Orientation,
}

impl Film {
    /// Writes the frames into a folder that is put at `to` once all are in it, so that it is whole or
    /// not there. `open` opens a shot; `tell` hears how many are done, `stopped` is asked before each.
    /// Frames that do not open are left out, the others numbered without a hole; how many that were
    /// comes back with the first one's reason.
    ///
    /// # Errors
    /// [`io::ErrorKind::AlreadyExists`] when there is something at `to`,
    /// [`io::ErrorKind::Interrupted`] when stopped, and what the disk says.
    pub(super) fn save(
        &self,
        to: &Path,
        at_once: usize,
        open: &(dyn Fn(usize) -> Result<Colour, String> + Sync),
        tell: &mut dyn FnMut(usize),
        stopped: &(dyn Fn() -> bool + Sync),
    ) -> io::Result<(usize, Option<String>)> {
        if to.exists() {
            return Err(io::ErrorKind::AlreadyExists.into());
        }
        let parent = to.parent().filter(|parent| !parent.as_os_str().is_empty());
        let parent = parent.unwrap_or(Path::new("."));
        let folder = tempfile::Builder::new()
            .prefix(".film-")
            .tempdir_in(parent)?;
        let (mut left_out, mut why) = (0, None);
        let mut number = 0;
        let done = AtomicUsize::new(0);
        for batch in self.frames.chunks(at_once.max(1)) {
            if stopped() {
                return Err(io::ErrorKind::Interrupted.into());
            }
            let made: Vec<Result<Vec<u8>, String>> = (batch.par_iter())
                .map(|frame| self.frame(open(frame.shot)?, frame.gain))
                .collect();
            for made in made {
                match made {
                    Ok(bytes) => {
                        number += 1;
                        let name = format!("{number:05}.{}", self.format().ending());
                        atomic::write(&folder.path().join(name), Existing::Keep, |out| {
                            out.write_all(&bytes)
                        })?;
                    }
                    Err(fault) => {
                        left_out += 1;
                        why.get_or_insert(fault);
                    }
                }
            }
            tell(done.fetch_add(batch.len(), Ordering::Relaxed) + batch.len());
        }
        if number == 0 {
            let why = why.unwrap_or_else(|| "there is no frame".to_owned());
            return Err(io::Error::other(why));
        }
        // Temporary folders are born private; this one is a result the user asked for.
        open_to_reading(folder.path())?;
        fs::rename(folder.path(), to)?;
        // It has another name now, and stays.
        let _ = folder.keep();
        Ok((left_out, why))
    }

    const fn format(&self) -> PictureFormat {
        if self.files.png {
            PictureFormat::Png8
        } else {
            PictureFormat::Jpeg
        }
    }

    /// One frame's file: reduced, brought to the film's brightness, turned, with even sides, as
    /// players ask for.
    fn frame(&self, colour: Colour, gain: f32) -> Result<Vec<u8>, String> {
        let mut colour = if self.files.full_size {
            colour
        } else {
            reduce_to(&colour, FILM_SIDE).0
        };
        if (gain - 1.0).abs() > 1e-4 {
            for sample in colour.rgb.as_flattened_mut() {
                *sample = (f32::from(*sample) * gain + 0.5).min(65_535.0) as u16;
            }
        }
        let turn = Turn::new(self.orientation, colour.width, colour.height);
        let (width, rgb) = turn.picture(colour.width, &colour.rgb);
        let height = rgb.len().checked_div(width).unwrap_or(0);
        let turned = Colour { width, height, rgb };
        encode_picture(even(turned), self.format()).map_err(|why| why.to_string())
    }
}

/// Without the last column or row where there is an odd number of them.
fn even(colour: Colour) -> Colour {
    let (width, height) = (colour.width & !1, colour.height & !1);
    if (width, height) == (colour.width, colour.height) || width == 0 || height == 0 {
        return colour;
    }
    let rows = colour.rgb.chunks_exact(colour.width).take(height);
    let rgb = rows
        .filter_map(|row| row.get(..width))
        .flatten()
        .copied()
        .collect();
    Colour { width, height, rgb }
}

#[cfg(unix)]
fn open_to_reading(path: &Path) -> io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    fs::set_permissions(path, fs::Permissions::from_mode(0o755))
}

#[cfg(not(unix))]
fn open_to_reading(_path: &Path) -> io::Result<()> {
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn film(png: bool) -> Film {
        Film {
            frames: (0..5).map(|shot| FilmFrameOf { shot, gain: 2.0 }).collect(),
            files: FilmFiles {
                full_size: true,
                png,
            },
            orientation: Orientation(6),
        }
    }

    fn open(shot: usize) -> Result<Colour, String> {
        if shot == 1 {
            return Err("damaged".to_owned());
        }
        Ok(Colour {
            width: 7,
            height: 4,
            rgb: vec![[1000 * (shot as u16 + 1); 3]; 28],
        })
    }

    #[test]
    fn frames_are_numbered_without_a_hole_turned_and_levelled() {
        let root = tempfile::tempdir().unwrap();
        let to = root.path().join("film");
        let mut told = Vec::new();
        let (left_out, why) = film(true)
            .save(&to, 2, &open, &mut |done| told.push(done), &|| false)
            .unwrap();
        assert_eq!((left_out, why), (1, Some("damaged".to_owned())));
        assert_eq!(told, [2, 4, 5]);
        let mut names: Vec<_> = fs::read_dir(&to)
            .unwrap()
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        assert_eq!(names, ["00001.png", "00002.png", "00003.png", "00004.png"]);
        let second = image::open(to.join("00002.png")).unwrap().into_rgb8();
        assert_eq!(second.dimensions(), (4, 6), "turned, and even");
        // Twice 3000 of 65,535: 0.0916 in linear light, by IEC 61966-2-1 85 of 255.
        assert!(
            second.pixels().all(|px| px.0[1].abs_diff(85) <= 1),
            "{:?}",
            second.get_pixel(0, 0)
        );
        // Nothing else is left beside it.
        assert_eq!(fs::read_dir(root.path()).unwrap().count(), 1);
    }

    #[test]
    fn a_film_that_is_stopped_or_in_the_way_changes_nothing() {
        let root = tempfile::tempdir().unwrap();
        let to = root.path().join("film");
        let stopped = film(false).save(&to, 1, &open, &mut |_| (), &|| true);
        assert_eq!(stopped.unwrap_err().kind(), io::ErrorKind::Interrupted);
        assert_eq!(fs::read_dir(root.path()).unwrap().count(), 0);
        atomic::write(&to, Existing::Keep, |out| out.write_all(b"mine")).unwrap();
        let there = film(false).save(&to, 1, &open, &mut |_| (), &|| false);
        assert_eq!(there.unwrap_err().kind(), io::ErrorKind::AlreadyExists);
        assert_eq!(fs::read(&to).unwrap(), b"mine");
    }
}

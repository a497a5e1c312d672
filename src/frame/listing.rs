//! What lies at the paths the user gave.

use std::collections::HashMap;
use std::ffi::OsString;
use std::fs;
use std::path::{Path, PathBuf};

use super::FrameError;
use super::formats::by_ending;

/// One press of the shutter: the file that is measured, and what belongs to it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shot {
    /// Path relative to the folder the user gave, or the file name.
    pub name: String,
    /// The file that is measured: the raw file when there is one.
    pub path: PathBuf,
    /// Other files of the same shot: its JPEG, its sidecar.
    pub companions: Vec<PathBuf>,
}

/// What was found.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Listing {
    /// The folder that names are relative to.
    pub root: PathBuf,
    /// Shots in natural order of their names.
    pub shots: Vec<Shot>,
    /// Files that are no frames (by their ending), not counted as errors.
    pub passed_over: usize,
}

/// Lists the frames in `paths` (folders without their subfolders, or files), raw and JPEG of one
/// shot as one, in natural order.
///
/// Links to files are followed, links to folders inside a folder are not; pipes and devices are
/// left out, as are hidden files. A file that is named twice is listed once.
///
/// # Errors
/// When a path does not exist or cannot be read. An empty listing is no error here.
pub fn list(paths: &[PathBuf]) -> Result<Listing, FrameError> {
    let mut files = Vec::new();
    for path in paths {
        let meta = fs::metadata(path).map_err(|e| FrameError::io(path, e))?;
        if meta.is_dir() {
            files.extend(files_in(path)?);
        } else if meta.is_file() {
            files.push(path.clone());
        } else {
            let what = "this is a pipe or a device, not a file or folder";
            return Err(FrameError::unsupported(path, what));
        }
    }
    let root = common_root(paths);
    let (shots, passed_over) = group(files, &root);
    Ok(Listing {
        root,
        shots,
        passed_over,
    })
}

/// The regular files in `folder`, hidden ones left out.
fn files_in(folder: &Path) -> Result<Vec<PathBuf>, FrameError> {
    let entries = fs::read_dir(folder).map_err(|e| FrameError::io(folder, e))?;
    let mut files = Vec::new();
    for entry in entries {
        let entry = entry.map_err(|e| FrameError::io(folder, e))?;
        let hidden = entry.file_name().as_encoded_bytes().starts_with(b".");
        // Follows links: a linked file is a file. A link into nowhere is no frame.
        let is_file = fs::metadata(entry.path()).is_ok_and(|meta| meta.is_file());
        if is_file && !hidden {
            files.push(entry.path());
        }
    }
    Ok(files)
}

/// The folder that names are relative to: the folder given, or the deepest one that holds all.
fn common_root(paths: &[PathBuf]) -> PathBuf {
    let folder = |path: &PathBuf| {
        if path.is_dir() {
            path.clone()
        } else {
            path.parent().map(Path::to_owned).unwrap_or_default()
        }
    };
    let mut folders = paths.iter().map(folder);
    let Some(first) = folders.next() else {
        return PathBuf::new();
    };
    folders.fold(first, |root, next| {
        let shared = root
            .components()
            .zip(next.components())
            .take_while(|(a, b)| a == b);
        shared.map(|(component, _)| component).collect()
    })
}

/// Endings of files that belong to the frame of their name and are none themselves: rating files, what
/// cameras write beside a raw file (a phone's picture, a small view, a spoken note).
const BESIDE: [&str; 6] = ["xmp", "heic", "heif", "hif", "thm", "wav"];

/// The files of one stem in one folder.
#[derive(Default)]
struct Stem {
    raw: Vec<PathBuf>,
    pictures: Vec<PathBuf>,
    sidecars: Vec<PathBuf>,
}

fn group(files: Vec<PathBuf>, root: &Path) -> (Vec<Shot>, usize) {
    let mut passed_over = 0;
    let mut stems: HashMap<(PathBuf, OsString), Stem> = HashMap::new();
    let mut sidecars = Vec::new();
    for file in files {
        let Some(key) = key_of(&file) else {
            passed_over += 1;
            continue;
        };
        match by_ending(&file) {
            Some(format) if format.is_raw => {
                push_once(&mut stems.entry(key).or_default().raw, file);
            }
            Some(_) => push_once(&mut stems.entry(key).or_default().pictures, file),
            None if BESIDE.iter().any(|ending| has_ending(&file, ending)) => {
                sidecars.push((key, file));
            }
            None => passed_over += 1,
        }
    }
    for ((folder, stem), file) in sidecars {
        // Both namings are in use: "a.xmp" beside "a.nef", and "a.nef.xmp".
        let inner = Path::new(&stem)
            .file_stem()
            .map(ToOwned::to_owned)
            .unwrap_or_default();
        let keys = [(folder.clone(), stem), (folder, inner)];
        match keys.iter().find(|key| stems.contains_key(*key)) {
            Some(key) => push_once(&mut stems.entry(key.clone()).or_default().sidecars, file),
            None => passed_over += 1,
        }
    }
    let mut shots: Vec<Shot> = stems
        .into_values()
        .flat_map(|stem| stem.into_shots(root))
        .collect();
    shots.sort_by(|a, b| alphanumeric_sort::compare_str(&a.name, &b.name));
    (shots, passed_over)
}

impl Stem {
    /// With a raw file: one shot, all else its companions. Without: every picture is a shot.
    fn into_shots(mut self, root: &Path) -> Vec<Shot> {
        self.raw.sort();
        self.pictures.sort();
        self.sidecars.sort();
        let mut measured = if self.raw.is_empty() {
            std::mem::take(&mut self.pictures)
        } else {
            self.raw
        };
        if measured.is_empty() {
            return Vec::new();
        }
        let rest = measured.split_off(1);
        let shot = |path: PathBuf, companions| Shot {
            name: path
                .strip_prefix(root)
                .unwrap_or(&path)
                .to_string_lossy()
                .into_owned(),
            path,
            companions,
        };
        let companions = self.pictures.into_iter().chain(self.sidecars).collect();
        let first = measured
            .into_iter()
            .map(|path| shot(path, Vec::clone(&companions)));
        let mut shots: Vec<Shot> = first.collect();
        shots.extend(rest.into_iter().map(|path| shot(path, Vec::new())));
        shots
    }
}

fn push_once(files: &mut Vec<PathBuf>, file: PathBuf) {
    if !files.contains(&file) {
        files.push(file);
    }
}

/// Folder and stem; endings differ in case and kind within one shot, stems do not.
fn key_of(file: &Path) -> Option<(PathBuf, OsString)> {
    Some((file.parent()?.to_owned(), file.file_stem()?.to_owned()))
}

fn has_ending(file: &Path, ending: &str) -> bool {
    file.extension()
        .is_some_and(|found| found.eq_ignore_ascii_case(ending))
}

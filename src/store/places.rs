//! Where things are kept.

use std::path::PathBuf;

use directories::ProjectDirs;

/// The folders things are kept in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Places {
    /// For what must not be lost.
    pub data: PathBuf,
    /// For what can be made again.
    pub cache: PathBuf,
}

impl Places {
    /// The user's folders by the platform's custom (on Linux the XDG variables, else
    /// `~/.local/share/nightloupe` and `~/.cache/nightloupe`); `None` without a home folder.
    #[must_use]
    pub fn of_user() -> Option<Self> {
        let dirs = ProjectDirs::from("", "", "nightloupe")?;
        Some(Self {
            data: dirs.data_dir().to_owned(),
            cache: dirs.cache_dir().to_owned(),
        })
    }

    /// Both folders under `root`.
    #[must_use]
    pub fn under(root: &std::path::Path) -> Self {
        Self {
            data: root.join("data"),
            cache: root.join("cache"),
        }
    }
}

//! Keys and what is held with them.

/// A key of the keyboard, by what it says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Key {
    /// A letter (upper case), digit or sign.
    Char(char),
    /// Arrow left.
    Left,
    /// Arrow right.
    Right,
    /// Home.
    Home,
    /// End.
    End,
    /// The space bar.
    Space,
    /// Escape.
    Escape,
}

/// A key with its modifiers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Chord {
    /// The key.
    pub key: Key,
    /// With Shift.
    pub shift: bool,
    /// With Ctrl (Command on a Mac).
    pub ctrl: bool,
}

impl Chord {
    pub(super) const fn plain(key: Key) -> Self {
        Self {
            key,
            shift: false,
            ctrl: false,
        }
    }

    pub(super) const fn shift(key: Key) -> Self {
        Self {
            key,
            shift: true,
            ctrl: false,
        }
    }

    pub(super) const fn ctrl(key: Key, shift: bool) -> Self {
        Self {
            key,
            shift,
            ctrl: true,
        }
    }

    /// In words ("Shift Left", "K").
    #[must_use]
    pub fn words(self) -> String {
        let mut words = String::new();
        if self.ctrl {
            words.push_str("Ctrl ");
        }
        if self.shift {
            words.push_str("Shift ");
        }
        match self.key {
            Key::Char('-') => words.push('−'),
            Key::Char(letter) => words.push(letter),
            Key::Left => words.push_str("Left"),
            Key::Right => words.push_str("Right"),
            Key::Home => words.push_str("Home"),
            Key::End => words.push_str("End"),
            Key::Space => words.push_str("Space"),
            Key::Escape => words.push_str("Esc"),
        }
        words
    }
}

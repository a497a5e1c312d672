//! Writing elements and text so that what comes out is well-formed, whatever the text.

use std::fmt::Write as _;

/// A document under way.
#[derive(Default)]
pub(super) struct Markup {
    text: String,
    open: Vec<&'static str>,
}

impl Markup {
    /// Begins an element, to be closed by [`Self::close`].
    pub(super) fn open(&mut self, name: &'static str, attributes: &[(&str, &str)]) {
        self.tag(name, attributes);
        self.text.push('>');
        self.open.push(name);
    }

    /// Ends the element that was begun last.
    pub(super) fn close(&mut self) {
        if let Some(name) = self.open.pop() {
            let _ = write!(self.text, "</{name}>");
        }
        if self.open.len() < 6 {
            self.text.push('\n');
        }
    }

    /// An element without content.
    pub(super) fn empty(&mut self, name: &'static str, attributes: &[(&str, &str)]) {
        self.tag(name, attributes);
        self.text.push_str("/>");
    }

    /// An element that holds words.
    pub(super) fn leaf(&mut self, name: &'static str, attributes: &[(&str, &str)], words: &str) {
        self.open(name, attributes);
        self.words(words);
        self.close();
    }

    /// Words.
    pub(super) fn words(&mut self, words: &str) {
        self.escaped(words);
    }

    /// What is markup already: a style sheet of our own, another document of this kind.
    pub(super) fn raw(&mut self, markup: &str) {
        self.text.push_str(markup);
    }

    /// The document; whatever is open is closed.
    pub(super) fn finish(mut self) -> String {
        while !self.open.is_empty() {
            self.close();
        }
        self.text
    }

    fn tag(&mut self, name: &str, attributes: &[(&str, &str)]) {
        let _ = write!(self.text, "<{name}");
        for (name, value) in attributes {
            let _ = write!(self.text, " {name}=\"");
            self.escaped(value);
            self.text.push('"');
        }
    }

    fn escaped(&mut self, words: &str) {
        for letter in words.chars() {
            match letter {
                '&' => self.text.push_str("&amp;"),
                '<' => self.text.push_str("&lt;"),
                '>' => self.text.push_str("&gt;"),
                '"' => self.text.push_str("&quot;"),
                '\'' => self.text.push_str("&#39;"),
                // Neither XML nor HTML can say these; a file name can.
                '\n' | '\t' => self.text.push(letter),
                '\u{fffe}' | '\u{ffff}' => self.text.push('\u{fffd}'),
                _ if letter.is_control() => self.text.push('\u{fffd}'),
                _ => self.text.push(letter),
            }
        }
    }
}

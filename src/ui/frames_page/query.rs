//! What the find field means: words, and conditions such as `width > 3`.

use super::columns::{COLUMNS, Column};
use crate::night::Row;

/// A comparison.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Compare {
    Less,
    AtMost,
    More,
    AtLeast,
    Equal,
}

/// A condition on one column.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Condition {
    column: usize,
    compare: Compare,
    value: f64,
}

/// A parsed find field. All words and all conditions must hold.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Query {
    words: Vec<String>,
    conditions: Vec<Condition>,
    /// What could not be understood, in a sentence.
    pub problem: Option<String>,
}

impl Query {
    /// Reads what is typed. A condition that is not finished yet holds for every frame.
    pub(super) fn parse(typed: &str) -> Self {
        let tokens = tokens(typed);
        let mut query = Self::default();
        let mut at = 0;
        while let Some(token) = tokens.get(at) {
            let Some(compare) = tokens.get(at + 1).and_then(|t| compare_of(t)) else {
                // A lone operator says nothing yet.
                if compare_of(token).is_none() {
                    query.words.push(token.to_lowercase());
                }
                at += 1;
                continue;
            };
            query.take_condition(token, compare, tokens.get(at + 2).map(String::as_str));
            at += 3;
        }
        query
    }

    fn take_condition(&mut self, name: &str, compare: Compare, value: Option<&str>) {
        let Some(column) = Column::named(name) else {
            let names: Vec<&str> = COLUMNS.iter().map(|column| column.name).collect();
            self.problem = Some(format!(
                "There is no “{name}”; there are {}.",
                names.join(", ")
            ));
            return;
        };
        let Some(value) = value else { return };
        match value.replace(',', ".").parse::<f64>() {
            Ok(value) if value.is_finite() => self.conditions.push(Condition {
                column,
                compare,
                value,
            }),
            _ => self.problem = Some(format!("“{value}” is not a number.")),
        }
    }

    /// Whether nothing is asked for.
    pub(super) fn is_empty(&self) -> bool {
        self.words.is_empty() && self.conditions.is_empty()
    }

    /// Whether a frame is asked for; `text` is all that is written about it, in lower case. A value
    /// that is not there fulfils no condition.
    pub(super) fn takes(&self, row: &Row, text: impl FnOnce() -> String) -> bool {
        let holds = |condition: &Condition| {
            let column = &COLUMNS[condition.column];
            (column.value)(row).is_some_and(|value| condition.holds(value, column.digits))
        };
        if !self.conditions.iter().all(holds) {
            return false;
        }
        if self.words.is_empty() {
            return true;
        }
        let text = text();
        self.words.iter().all(|word| text.contains(word.as_str()))
    }
}

impl Condition {
    fn holds(&self, value: f64, digits: usize) -> bool {
        match self.compare {
            Compare::Less => value < self.value,
            Compare::AtMost => value <= self.value,
            Compare::More => value > self.value,
            Compare::AtLeast => value >= self.value,
            // Equal as the table writes it.
            Compare::Equal => format!("{value:.digits$}") == format!("{:.digits$}", self.value),
        }
    }
}

fn compare_of(token: &str) -> Option<Compare> {
    Some(match token {
        "<" => Compare::Less,
        "<=" | "≤" => Compare::AtMost,
        ">" => Compare::More,
        ">=" | "≥" => Compare::AtLeast,
        "=" => Compare::Equal,
        _ => return None,
    })
}

/// Words and operators, also where no space stands between them.
fn tokens(typed: &str) -> Vec<String> {
    let is_operator = |c: char| matches!(c, '<' | '>' | '=' | '≤' | '≥');
    let mut tokens: Vec<String> = Vec::new();
    let mut last_kind = None;
    for c in typed.chars() {
        let kind = match c {
            c if c.is_whitespace() => None,
            c => Some(is_operator(c)),
        };
        match (kind, tokens.last_mut()) {
            (Some(_), Some(token)) if kind == last_kind => token.push(c),
            (Some(_), _) => tokens.push(c.to_string()),
            (None, _) => {}
        }
        last_kind = kind;
    }
    tokens
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Light;
    use crate::measure::FrameMeasure;
    use crate::ui::frames_page::columns::test_row;

    fn row(fwhm: Option<f64>, stars: u32) -> Row {
        let mut measure = FrameMeasure::empty(100, 100, Light::Linear);
        measure.fwhm_px = fwhm;
        measure.star_count = stars;
        test_row(0, measure)
    }

    fn takes(typed: &str, row: &Row) -> bool {
        let query = Query::parse(typed);
        assert_eq!(query.problem, None, "{typed}");
        query.takes(row, || "dsc_0001.nef doubtful thin cloud".to_owned())
    }

    #[test]
    fn conditions_and_words_all_hold() {
        let row = row(Some(3.12), 900);
        assert!(takes("width > 3", &row));
        assert!(takes("width>3 stars<=900", &row));
        assert!(takes("Cloud width = 3.1", &row));
        assert!(!takes("width < 3", &row));
        assert!(!takes("cloud stars > 1000", &row));
        assert!(!takes("aircraft", &row));
    }

    #[test]
    fn what_is_half_typed_hides_nothing() {
        let row = row(Some(3.0), 5);
        for typed in ["", "  ", "width", "width >", ">"] {
            let query = Query::parse(typed);
            assert!(query.problem.is_none(), "{typed}");
            let text = || "width".to_owned();
            assert!(query.takes(&row, text), "{typed}");
        }
    }

    #[test]
    fn a_missing_value_fulfils_nothing() {
        let row = row(None, 5);
        assert!(!takes("width < 100", &row) && !takes("width > 0", &row));
    }

    #[test]
    fn what_is_not_understood_is_said() {
        assert!(
            Query::parse("moon > 3")
                .problem
                .unwrap()
                .contains("length, width")
        );
        assert!(
            Query::parse("width > much")
                .problem
                .unwrap()
                .contains("much")
        );
    }
}

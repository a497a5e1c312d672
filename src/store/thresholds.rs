//! Thresholds that a person changed, for each purpose: kept among the preferences as JSON.

use std::collections::BTreeMap;

use super::{Store, StoreError};
use crate::verdict::{Purpose, Thresholds, knobs};

/// The preference that holds a purpose's thresholds.
fn name(purpose: Purpose) -> String {
    let word = serde_json::to_value(purpose).ok();
    let word = word.as_ref().and_then(serde_json::Value::as_str);
    format!("thresholds {}", word.unwrap_or_default())
}

impl Store {
    /// The thresholds that were changed, by purpose; held to their bounds, and what another version
    /// wrote and this one does not know is left as it is by default.
    ///
    /// # Errors
    /// When the database fails.
    pub fn thresholds(&self) -> Result<BTreeMap<Purpose, Thresholds>, StoreError> {
        let kept: BTreeMap<String, String> = self.preferences()?.into_iter().collect();
        let of = |purpose: Purpose| {
            let text = kept.get(&name(purpose))?;
            let read: Thresholds = serde_json::from_str(text).ok()?;
            Some((purpose, knobs::held(read)))
        };
        Ok(Purpose::ALL.into_iter().filter_map(of).collect())
    }

    /// Keeps the thresholds of a purpose; `None` goes back to the usual ones.
    ///
    /// # Errors
    /// When the database fails.
    pub fn keep_thresholds(
        &self,
        purpose: Purpose,
        thresholds: Option<&Thresholds>,
    ) -> Result<(), StoreError> {
        let text = thresholds.and_then(|t| serde_json::to_string(t).ok());
        self.keep_preference(&name(purpose), &text.unwrap_or_default())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::Places;

    #[test]
    fn thresholds_come_back_by_purpose_and_within_bounds() {
        let root = tempfile::tempdir().unwrap();
        let places = Places::under(root.path());
        let (store, _) = Store::open(&places);
        let stricter = Thresholds {
            trail_doubt_px: 0.6,
            width_doubt: 0.1,
            ..Thresholds::default()
        };
        store
            .keep_thresholds(Purpose::Trails, Some(&stricter))
            .unwrap();
        store
            .keep_thresholds(Purpose::Still, Some(&stricter))
            .unwrap();
        store.keep_thresholds(Purpose::Still, None).unwrap();
        store
            .keep_preference(
                "thresholds tracked",
                "{\"outlier_z\": 5.0, \"of_another_version\": 1}",
            )
            .unwrap();
        drop(store);
        let (store, _) = Store::open(&places);
        let kept = store.thresholds().unwrap();
        assert_eq!(kept.len(), 2, "{kept:?}");
        assert!((kept[&Purpose::Trails].trail_doubt_px - 0.6).abs() < 1e-12);
        assert!(
            (kept[&Purpose::Trails].width_doubt - 1.05).abs() < 1e-12,
            "held"
        );
        assert!((kept[&Purpose::Tracked].outlier_z - 5.0).abs() < 1e-12);
        assert_eq!(
            kept[&Purpose::Tracked].width_doubt,
            Thresholds::default().width_doubt
        );
    }
}

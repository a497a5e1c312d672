//! A place on Earth, as people write it.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use thiserror::Error;

/// A place on Earth: geographic latitude and longitude, at sea level (height moves neither Sun nor
/// Moon by what matters here).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Site {
    /// North positive, −90 to 90.
    pub latitude_deg: f64,
    /// East positive, −180 to 180.
    pub longitude_deg: f64,
}

/// Why something is no place, in a sentence.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum SiteError {
    /// Not two numbers.
    #[error("write latitude, then longitude, in decimal degrees, like 47.25,12.5 or 23.7S 68.2W")]
    Form,
    /// No such latitude.
    #[error("latitude comes first and is from -90 to 90; {0} is not")]
    Latitude(f64),
    /// No such longitude.
    #[error("longitude comes second and is from -180 to 180, east positive; {0} is not")]
    Longitude(f64),
}

impl Site {
    /// The place at these degrees.
    ///
    /// # Errors
    /// When there is no such latitude or longitude.
    pub fn new(latitude_deg: f64, longitude_deg: f64) -> Result<Self, SiteError> {
        if !(-90.0..=90.0).contains(&latitude_deg) {
            return Err(SiteError::Latitude(latitude_deg));
        }
        if !(-180.0..=180.0).contains(&longitude_deg) {
            return Err(SiteError::Longitude(longitude_deg));
        }
        Ok(Self {
            latitude_deg,
            longitude_deg,
        })
    }
}

/// Reads `47.25,12.5`, `47.25 12.5`, `23.7S 68.2W`, with or without degree signs.
impl FromStr for Site {
    type Err = SiteError;

    fn from_str(text: &str) -> Result<Self, SiteError> {
        let text = text.replace('−', "-").replace('°', "");
        let mut parts = (text.split(|c: char| c == ',' || c == ';' || c.is_whitespace()))
            .filter(|part| !part.is_empty());
        let (Some(latitude), Some(longitude), None) = (parts.next(), parts.next(), parts.next())
        else {
            return Err(SiteError::Form);
        };
        Self::new(
            degrees(latitude, ['N', 'S'])?,
            degrees(longitude, ['E', 'W'])?,
        )
    }
}

/// Degrees with a sign, or without one and with the letter of their side.
fn degrees(text: &str, [positive, negative]: [char; 2]) -> Result<f64, SiteError> {
    let upper = text.to_ascii_uppercase();
    let (number, sign) = if let Some(number) = upper.strip_suffix(positive) {
        (number, Some(1.0))
    } else if let Some(number) = upper.strip_suffix(negative) {
        (number, Some(-1.0))
    } else {
        (upper.as_str(), None)
    };
    let value: f64 = number.parse().map_err(|_| SiteError::Form)?;
    match sign {
        // A sign beside a letter says it twice, perhaps not the same.
        Some(sign) if value >= 0.0 && !number.starts_with(['+', '-']) => Ok(sign * value),
        None if value.is_finite() => Ok(value),
        _ => Err(SiteError::Form),
    }
}

/// Five decimals (a metre), as it is read back.
impl fmt::Display for Site {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let trimmed = |value: f64| {
            let text = format!("{value:.5}");
            text.trim_end_matches('0').trim_end_matches('.').to_owned()
        };
        let (latitude, longitude) = (trimmed(self.latitude_deg), trimmed(self.longitude_deg));
        write!(f, "{latitude}, {longitude}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_in_the_ways_people_write_them() {
        let alps = Site::new(47.25, 12.5).unwrap();
        let desert = Site::new(-23.7, -68.2).unwrap();
        for text in [
            "47.25,12.5",
            "47.25, 12.5",
            " 47.25° N 12.5° E ",
            "47.25 12.5",
        ] {
            let packed = text.replace("° ", "°");
            assert_eq!(packed.parse(), Ok(alps), "{text}");
        }
        for text in ["-23.7,-68.2", "−23.7; −68.2", "23.7s 68.2w", "23.7S,-68.2"] {
            assert_eq!(text.parse(), Ok(desert), "{text}");
        }
        assert_eq!(desert.to_string().parse(), Ok(desert));
        assert_eq!(alps.to_string(), "47.25, 12.5");
    }

    #[test]
    fn what_is_no_place_is_told_why() {
        for text in [
            "",
            "47",
            "1,2,3",
            "here,there",
            "nan,0",
            "-1S 0",
            "47N 12Q",
            "47:15,12:30",
        ] {
            let told = text.parse::<Site>();
            assert!(told.is_err(), "{text}");
        }
        assert_eq!("1e999,0".parse::<Site>(), Err(SiteError::Form));
        assert_eq!("112.5,47".parse::<Site>(), Err(SiteError::Latitude(112.5)));
        assert_eq!("47,190".parse::<Site>(), Err(SiteError::Longitude(190.0)));
        let words = "91,0".parse::<Site>().unwrap_err().to_string();
        assert_eq!(
            words,
            "latitude comes first and is from -90 to 90; 91 is not"
        );
    }
}

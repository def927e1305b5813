//! How much room the ledger will want: reckoned from what a reading takes and how many come.

/// Days in a year, with the leap day's share.
const YEAR_DAYS: f64 = 365.25;

/// How the ledger grows at the present rate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Growth {
    /// Bytes a year.
    pub bytes_per_year: f64,
    /// Years until the free room is used up; none where that is not known.
    pub years: Option<f64>,
}

/// Growth by bytes an archived reading takes, readings a day, and bytes free on the disk.
///
/// Entries and day pages are left out: they are some hundred kilobytes a year. None where no reading comes.
pub fn growth(bytes_per_reading: f64, readings_per_day: f64, free_bytes: Option<u64>) -> Option<Growth> {
    let bytes_per_year = bytes_per_reading * readings_per_day * YEAR_DAYS;
    let known = bytes_per_year.is_finite() && bytes_per_year > 0.0;
    known.then(|| Growth { bytes_per_year, years: free_bytes.map(|free| free as f64 / bytes_per_year) })
}

impl Growth {
    /// "about 7 MB a year at your present rate; 900 years fit on the disk".
    pub fn words(&self) -> String {
        let megabytes = self.bytes_per_year / 1_000_000.0;
        let size =
            if megabytes < 1.0 { "less than 1 MB".to_owned() } else { format!("about {megabytes:.0} MB") };
        let years = match self.years {
            None => String::new(),
            Some(years) if years < 1.0 => "; less than a year fits on the disk".to_owned(),
            Some(years) if years > 1_000.0 => "; over a thousand years fit on the disk".to_owned(),
            Some(years) => format!("; {} years fit on the disk", years.floor()),
        };
        format!("{size} a year at your present rate{years}")
    }
}

/// Bytes that are free for us on the disk of a folder; none where the system does not say.
pub fn free_bytes(folder: &std::path::Path) -> Option<u64> {
    let told = rustix::fs::statvfs(folder).ok()?;
    Some(told.f_bavail.saturating_mul(told.f_frsize))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn twenty_probes_a_minute_take_seven_megabytes_a_year() {
        // 20 × 1,440 × 365.25 = 10,519,200 readings; at 0.652 bytes 6.86 MB (worked by hand).
        let growth = growth(0.652, 28_800.0, Some(68_585_184)).unwrap();
        assert!((growth.bytes_per_year - 6_858_518.4).abs() < 0.1, "{growth:?}");
        assert_eq!(growth.words(), "about 7 MB a year at your present rate; 10 years fit on the disk");
    }

    #[test]
    fn where_nothing_comes_nothing_is_foretold() {
        assert_eq!(growth(0.652, 0.0, Some(1)), None);
        assert_eq!(growth(f64::NAN, 10.0, None), None);
    }
}

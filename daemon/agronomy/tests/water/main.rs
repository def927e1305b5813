//! Water against FAO-56 as printed, against published libraries, and against itself.

#[path = "../golden/mod.rs"]
mod golden;

mod examples;
mod garden;
mod reference;
mod shapes;
mod stores;

use agronomy::units::{
    Celsius, DailyRadiation, Fraction, HourlyRadiation, Kilopascal, Latitude, Metres, MetresPerSecond,
    Millimetres, MillimetresPerDay, PlantHeight, RelativeHumidity, SoilDepth,
};
use agronomy::water::DayOfYear;

/// Compares figures and keeps the one that came nearest to its tolerance.
struct Tally {
    name: &'static str,
    figures: usize,
    worst: (f64, f64),
    at: String,
}

impl Tally {
    fn new(name: &'static str) -> Self {
        Self { name, figures: 0, worst: (0.0, f64::INFINITY), at: String::new() }
    }

    #[track_caller]
    fn see(&mut self, got: f64, expected: f64, tolerance: f64, what: impl std::fmt::Display) {
        golden::close(got, expected, tolerance, &what);
        self.figures += 1;
        let error = (got - expected).abs();
        if error / tolerance > self.worst.0 / self.worst.1 {
            self.worst = (error, tolerance);
            self.at = what.to_string();
        }
    }

    /// Says the worst, and asserts that as many figures were compared as there should be.
    #[track_caller]
    fn end(self, figures: usize) {
        let Self { name, worst: (error, tolerance), at, .. } = self;
        println!("{name}: {} figures, worst error {error:.2e} of {tolerance:.1e} ({at})", self.figures);
        assert_eq!(self.figures, figures, "{name}: figures compared");
        assert!(error <= tolerance, "{name}: {error} of {tolerance}");
    }
}

macro_rules! made {
    ($($name:ident $unit:ident;)*) => {$(
        fn $name(value: f64) -> $unit {
            $unit::try_new(value).unwrap()
        }
    )*};
}

made! {
    celsius Celsius;
    percent RelativeHumidity;
    kilopascal Kilopascal;
    metres Metres;
    latitude Latitude;
    per_day DailyRadiation;
    per_hour HourlyRadiation;
    wind MetresPerSecond;
    millimetres Millimetres;
    use_per_day MillimetresPerDay;
    fraction Fraction;
    height PlantHeight;
    depth SoilDepth;
}

fn day_of_year(day: f64) -> DayOfYear {
    DayOfYear::try_new(day as u16).unwrap()
}

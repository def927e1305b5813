//! Water against FAO-56 as printed, against published libraries, and against itself.

#[path = "../golden/mod.rs"]
mod golden;

mod examples;
mod garden;
mod reference;
mod shapes;
mod stores;

use agronomy::sun::DayOfYear;
use agronomy::units::{
    Celsius, DailyRadiation, Fraction, HourlyRadiation, Kilopascal, Latitude, Metres, MetresPerSecond,
    Millimetres, MillimetresPerDay, PlantHeight, RelativeHumidity, SoilDepth,
};

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

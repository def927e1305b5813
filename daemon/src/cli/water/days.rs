//! A row that is a day.

use std::io::Read;

use agronomy::units::{Celsius, DailyRadiation, Kilopascal, Latitude, Metres, MillimetresPerDay};
use agronomy::water::{Day, hargreaves};

use super::Method;
use super::columns::Columns;
use crate::rows::Rows;

/// The day's reference evapotranspiration, mm.
pub(super) fn reckon<R: Read>(method: Method, columns: &Columns, rows: &Rows<R>) -> Result<f64, String> {
    columns.whole(rows)?;
    let day = columns.day(rows)?;
    let latitude = columns.get(rows, "lat", Latitude::try_new)?;
    let lowest = columns.get(rows, "tmin_c", Celsius::try_new)?;
    let highest = columns.get(rows, "tmax_c", Celsius::try_new)?;
    let et0 = match method {
        Method::Hargreaves => hargreaves(latitude, day, lowest, highest),
        Method::PenmanMonteith => {
            let weather = Day {
                latitude,
                altitude: columns.get(rows, "elev_m", Metres::try_new)?,
                day,
                lowest,
                highest,
                vapour: columns.get(rows, "ea_kpa", Kilopascal::try_new)?,
                solar: columns.get(rows, "rs", DailyRadiation::try_new)?,
                wind: columns.wind(rows)?,
                soil_heat: DailyRadiation::try_new(0.0).map_err(|error| error.to_string())?,
            };
            weather.reference().map(|reference| reference.total())
        }
    };
    et0.map(MillimetresPerDay::get).map_err(|error| error.to_string())
}

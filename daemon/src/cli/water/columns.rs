//! Where the figures of a row stand: in its columns, or in the options for what the sheet does not say.

use std::collections::BTreeMap;
use std::io::Read;

use agronomy::sun::DayOfYear;
use agronomy::units::{GaugeHeight, Latitude, Longitude, Metres, MetresPerSecond, OutOfRange};
use agronomy::water::wind;

use super::{Et0Args, Method, Period};
use crate::cli::sheet::{column, columns, number, whole};
use crate::rows::Rows;

/// What a sheet must say of each row.
const DAYS: [&str; 6] = ["doy", "tmin_c", "tmax_c", "ea_kpa", "rs", "uz"];
const DAYS_OF_HARGREAVES: [&str; 3] = ["doy", "tmin_c", "tmax_c"];
const HOURS: [&str; 6] = ["doy", "utc_start", "t_c", "ea_kpa", "rs", "uz"];

/// Where each figure is found.
pub(super) struct Columns {
    width: usize,
    site: Option<usize>,
    found: BTreeMap<&'static str, usize>,
    options: BTreeMap<&'static str, f64>,
}

impl Columns {
    /// Finds the columns, and checks that place and gauge are known.
    pub(super) fn find(headings: &[String], args: &Et0Args) -> Result<Self, String> {
        let mut found = BTreeMap::new();
        match (args.period, args.method) {
            (Period::Daily, Method::PenmanMonteith) => found.extend(named(headings, DAYS)?),
            (Period::Daily, Method::Hargreaves) => found.extend(named(headings, DAYS_OF_HARGREAVES)?),
            (Period::Hourly, _) => found.extend(named(headings, HOURS)?),
        }
        let mut options = BTreeMap::from([("zw", args.gauge_m)]);
        let whole = args.method == Method::PenmanMonteith;
        for (name, what, option, value, needed) in [
            ("lat", "latitude", "--lat", args.lat, true),
            ("elev_m", "altitude", "--altitude-m", args.altitude_m, whole),
            ("lon", "longitude", "--lon", args.lon, args.period == Period::Hourly),
            ("zw", "height of the wind gauge", "--gauge-m", Some(args.gauge_m), whole),
        ] {
            if let Some(index) = column(headings, name)?.filter(|_| needed) {
                found.insert(name, index);
            } else if let Some(value) = value {
                options.insert(name, value);
            } else if needed {
                return Err(format!("no {what}; give {option}, or a column {name}"));
            }
        }
        let columns = Self { width: headings.len(), site: column(headings, "site")?, found, options };
        columns.check_options()?;
        Ok(columns)
    }

    /// An option that cannot be is told once, before any row.
    fn check_options(&self) -> Result<(), String> {
        let check = |name, made: fn(f64) -> Result<(), OutOfRange>| match self.options.get(name) {
            Some(value) => made(*value).map_err(|error| format!("{name}: {error}")),
            None => Ok(()),
        };
        check("lat", |value| Latitude::try_new(value).map(drop))?;
        check("elev_m", |value| Metres::try_new(value).map(drop))?;
        check("lon", |value| Longitude::try_new(value).map(drop))?;
        check("zw", |value| GaugeHeight::try_new(value).map(drop))
    }

    /// How many cells a row has.
    pub(super) fn width(&self) -> usize {
        self.width
    }

    /// The row's cell in the column `site`, where there is one.
    pub(super) fn site<R: Read>(&self, rows: &Rows<R>) -> Vec<u8> {
        self.site.and_then(|index| rows.cell(index)).unwrap_or_default().to_vec()
    }

    /// A figure of the row as its type. A column that is there and empty is not filled from an option: what
    /// other rows say differs from it, and nobody knows for this one.
    pub(super) fn get<T, R: Read>(
        &self,
        rows: &Rows<R>,
        name: &'static str,
        make: impl Fn(f64) -> Result<T, OutOfRange>,
    ) -> Result<T, String> {
        let value = match (self.found.get(name), self.options.get(name)) {
            (Some(index), _) => number(name, rows.cell(*index))?,
            (None, Some(value)) => *value,
            (None, None) => return Err(format!("{name} is not known")),
        };
        make(value).map_err(|error| format!("{name}: {error}"))
    }

    /// The day of the year.
    pub(super) fn day<R: Read>(&self, rows: &Rows<R>) -> Result<DayOfYear, String> {
        let day = self.get(rows, "doy", Ok)?;
        if day.fract() != 0.0 || !(1.0..=366.0).contains(&day) {
            return Err(format!("doy {day} is no day of the year; it runs from 1 to 366"));
        }
        DayOfYear::try_new(day as u16).map_err(|error| format!("doy: {error}"))
    }

    /// The row's wind, brought down to 2 m.
    pub(super) fn wind<R: Read>(&self, rows: &Rows<R>) -> Result<MetresPerSecond, String> {
        let gauge = self.get(rows, "zw", GaugeHeight::try_new)?;
        Ok(wind::at_two_metres(self.get(rows, "uz", MetresPerSecond::try_new)?, gauge))
    }

    /// Refuses a row that has more or fewer cells than the heading.
    pub(super) fn whole<R: Read>(&self, rows: &Rows<R>) -> Result<(), String> {
        whole(rows, self.width)
    }
}

fn named<const N: usize>(
    headings: &[String],
    names: [&'static str; N],
) -> Result<[(&'static str, usize); N], String> {
    let indices = columns(headings, names)?;
    Ok(std::array::from_fn(|at| (names[at], indices[at])))
}

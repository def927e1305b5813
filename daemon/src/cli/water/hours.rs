//! A row that is an hour, and the sky that nights borrow from the hours of sun around them.

use std::io::{self, Read, Write};

use agronomy::sun::fao56::solar_time;
use agronomy::units::{Celsius, Fraction, HourlyRadiation, Kilopascal, Latitude, Longitude, Metres, UtcHour};
use agronomy::water::net_radiation::UNKNOWN_NIGHT;
use agronomy::water::{Hour, Surface};

use super::columns::Columns;
use super::{Kept, Sink};
use crate::rows::Rows;

/// An hour that was read, and where it was.
pub(super) struct Told {
    hour: Hour,
    longitude: Longitude,
    site: Vec<u8>,
}

/// Reads the hour of a row.
pub(super) fn read<R: Read>(columns: &Columns, rows: &Rows<R>) -> Result<Told, String> {
    columns.whole(rows)?;
    let start = columns.get(rows, "utc_start", UtcHour::try_new)?;
    let middle = UtcHour::try_new((start.get() + 0.5) % 24.0).map_err(|error| error.to_string())?;
    let longitude = columns.get(rows, "lon", Longitude::try_new)?;
    let hour = Hour {
        day: columns.day(rows)?,
        latitude: columns.get(rows, "lat", Latitude::try_new)?,
        altitude: columns.get(rows, "elev_m", Metres::try_new)?,
        middle: solar_time(middle, longitude),
        air: columns.get(rows, "t_c", Celsius::try_new)?,
        vapour: columns.get(rows, "ea_kpa", Kilopascal::try_new)?,
        solar: columns.get(rows, "rs", HourlyRadiation::try_new)?,
        wind: columns.wind(rows)?,
    };
    Ok(Told { hour, longitude, site: columns.site(rows) })
}

impl Told {
    /// Whether this hour belongs to the same run of hours as one before it: same place, no day left out.
    fn follows(&self, before: &Self) -> bool {
        let (day, last) = (self.hour.day.get(), before.hour.day.get());
        let same_place = self.site == before.site
            && self.hour.latitude == before.hour.latitude
            && self.hour.altitude == before.hour.altitude
            && self.longitude == before.longitude;
        same_place && (day == last || day == last + 1 || (day == 1 && last >= 365))
    }

    fn under(&self, sky: Fraction) -> Result<f64, String> {
        let reference = self.hour.reference(sky, Surface::Fao56);
        reference.map(|reference| reference.total().get()).map_err(|error| error.to_string())
    }
}

/// Hours whose sky no hour of enough sun has told yet, in the order they were read.
#[derive(Default)]
pub(super) struct Watch {
    sky: Option<Fraction>,
    last: Option<Told>,
    waiting: Vec<(Result<Told, String>, Kept)>,
}

impl Watch {
    /// After so many hours without enough sun it is polar night, and waiting tells nothing.
    const LONGEST: usize = 48;

    /// Takes the next hour, and writes all that are known by it.
    pub(super) fn take<W: Write, E: Write>(
        &mut self,
        told: Result<Told, String>,
        kept: Kept,
        sink: &mut Sink<'_, W, E>,
    ) -> io::Result<()> {
        if let Ok(now) = &told {
            let waiting = self.waiting.iter().rev().find_map(|(told, _)| told.as_ref().ok());
            if waiting.or(self.last.as_ref()).is_some_and(|before| !now.follows(before)) {
                self.end(sink)?;
            }
            self.sky = now.hour.clearness().or(self.sky);
        }
        self.waiting.push((told, kept));
        match self.sky {
            Some(sky) => self.write(sky, sink),
            None if self.waiting.len() >= Self::LONGEST => self.write(UNKNOWN_NIGHT, sink),
            None => Ok(()),
        }
    }

    /// Ends the run of hours: those that still wait get the usual sky.
    pub(super) fn end<W: Write, E: Write>(&mut self, sink: &mut Sink<'_, W, E>) -> io::Result<()> {
        let sky = self.sky.take().unwrap_or(UNKNOWN_NIGHT);
        self.write(sky, sink)
    }

    fn write<W: Write, E: Write>(&mut self, sky: Fraction, sink: &mut Sink<'_, W, E>) -> io::Result<()> {
        for (told, kept) in self.waiting.drain(..) {
            let et0 = match &told {
                Ok(hour) => hour.under(sky),
                Err(why) => Err(why.clone()),
            };
            sink.row(&kept, et0)?;
            self.last = told.ok().or(self.last.take());
        }
        Ok(())
    }
}

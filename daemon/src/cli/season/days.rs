//! Rows in, days out: the day being read, and what has to be said of the rows.

use std::io::{self, Write};

use agronomy::day_sums::{DayFigures, DaySums, Lines};
use agronomy::series::MS_PER_DAY;
use agronomy::units::{Celsius, Kilopascal, Minutes, RelativeHumidity};

use super::super::sheet::figure;
use crate::calendar;

/// Readings kept until they are added up together.
const KEPT: usize = 256;
const MS_PER_MINUTE: f64 = 60_000.0;

/// Why a row was not taken, or the command cannot go on.
pub(super) enum Stop {
    /// The row cannot be; the next may.
    Row(String),
    /// Writing failed.
    Writing(io::Error),
}

impl From<io::Error> for Stop {
    fn from(error: io::Error) -> Self {
        Self::Writing(error)
    }
}

/// What standard error says at the end.
#[derive(Debug, Default)]
pub(super) struct Counts {
    pub rows: u64,
    pub without_air: u64,
    pub without_humidity: u64,
    /// Rows that do not follow the one before by a step.
    pub off_step: u64,
    /// Days between the first and the last of which there is no row.
    pub absent_days: i64,
    /// Days with more readings than they have room for, and why.
    pub overfull: Vec<String>,
}

/// Turns rows in the order of time into a row for each day.
pub(super) struct Days<W> {
    out: W,
    lines: Lines,
    step: Option<Minutes>,
    day: i64,
    sums: DaySums,
    air: [f64; KEPT],
    humidity: [f64; KEPT],
    kept: usize,
    last_ms: Option<i64>,
    pub counts: Counts,
}

impl<W: Write> Days<W> {
    /// `step`: what a reading stands for; `None` finds it between the first two rows.
    ///
    /// # Errors
    ///
    /// Writing the headings.
    pub(super) fn new(mut out: W, lines: Lines, step: Option<Minutes>) -> io::Result<Self> {
        writeln!(out, "date,readings,low_c,high_c,degree_days,hours_above,deficit_hours,mean_vpd_kpa")?;
        Ok(Self {
            out,
            lines,
            step,
            day: 0,
            sums: DaySums::new(lines),
            air: [f64::NAN; KEPT],
            humidity: [f64::NAN; KEPT],
            kept: 0,
            last_ms: None,
            counts: Counts::default(),
        })
    }

    /// What a reading stands for, as far as it is known.
    pub(super) fn step(&self) -> Option<Minutes> {
        self.step
    }

    /// Takes a row: UTC ms, °C, %; NaN is an empty cell.
    ///
    /// # Errors
    ///
    /// [`Stop`]: figures that air cannot have, a time not after the one before; or writing a day that is over.
    #[inline]
    pub(super) fn take(&mut self, at_ms: i64, air: f64, humidity: f64) -> Result<(), Stop> {
        possible(air, humidity)?;
        self.follow(at_ms)?;
        self.counts.rows += 1;
        self.counts.without_air += u64::from(air.is_nan());
        self.counts.without_humidity += u64::from(humidity.is_nan());
        if self.kept == KEPT {
            self.add_up();
        }
        self.air[self.kept] = air;
        self.humidity[self.kept] = humidity;
        self.kept += 1;
        Ok(())
    }

    /// Goes on to a moment, over the end of a day if need be.
    #[inline]
    fn follow(&mut self, at_ms: i64) -> Result<(), Stop> {
        let day = at_ms.div_euclid(MS_PER_DAY);
        let Some(last_ms) = self.last_ms else {
            (self.last_ms, self.day) = (Some(at_ms), day);
            return Ok(());
        };
        let apart_ms = at_ms.saturating_sub(last_ms);
        if apart_ms <= 0 {
            let why = if apart_ms == 0 { "is there twice" } else { "comes after a later one" };
            return Err(Stop::Row(format!("this time {why}")));
        }
        let step_ms = match self.step {
            Some(step) => step.get() * MS_PER_MINUTE,
            None => self.found(apart_ms)?,
        };
        // Times are whole milliseconds, a step need not be.
        self.counts.off_step += u64::from((apart_ms as f64 - step_ms).abs() > 1.0);
        if day != self.day {
            self.end_day()?;
            self.counts.absent_days += day - self.day - 1;
            self.day = day;
        }
        self.last_ms = Some(at_ms);
        Ok(())
    }

    /// The first two rows are so far apart.
    #[cold]
    fn found(&mut self, apart_ms: i64) -> Result<f64, Stop> {
        let minutes = apart_ms as f64 / MS_PER_MINUTE;
        let step =
            Minutes::try_new(minutes).map_err(|error| Stop::Row(format!("after the row before: {error}")))?;
        self.step = Some(step);
        Ok(apart_ms as f64)
    }

    fn add_up(&mut self) {
        let columns = (&self.air[..self.kept], &self.humidity[..self.kept]);
        self.sums.take(columns.0, columns.1).expect("both columns are cut at the same place");
        self.kept = 0;
    }

    fn end_day(&mut self) -> io::Result<()> {
        self.add_up();
        let sums = std::mem::replace(&mut self.sums, DaySums::new(self.lines));
        let date = calendar::date(self.day);
        match self.step.map(|step| sums.figures(step)) {
            Some(Ok(figures)) => writeln!(self.out, "{date},{}", cells(&figures)),
            Some(Err(overfull)) => {
                self.counts
                    .overfull
                    .push(format!("{date}: {overfull}; --step-min says what a reading stands for"));
                writeln!(self.out, "{date},{},,,,,,", overfull.readings)
            }
            None => Ok(()),
        }
    }

    /// Ends the last day; `false` if there was but one row and nobody has said what a reading stands for.
    ///
    /// # Errors
    ///
    /// Writing.
    pub(super) fn finish(&mut self) -> io::Result<bool> {
        if self.last_ms.is_some() {
            self.end_day()?;
        }
        self.out.flush()?;
        Ok(self.last_ms.is_none() || self.step.is_some())
    }
}

/// Whether air can have both figures, NaN aside.
#[inline]
fn possible(air: f64, humidity: f64) -> Result<(), Stop> {
    if !air.is_nan() {
        Celsius::try_new(air).map_err(|error| Stop::Row(format!("t_c: {error}")))?;
    }
    if !humidity.is_nan() {
        RelativeHumidity::from_probe(humidity).map_err(|error| Stop::Row(format!("rh_pct: {error}")))?;
    }
    Ok(())
}

fn cells(day: &DayFigures) -> String {
    if day.readings == 0 {
        return "0,,,,,,".to_owned();
    }
    let perhaps = |value: Option<f64>| value.map_or_else(String::new, figure);
    let deficit = |hours: f64| if day.pairs == 0 { String::new() } else { figure(hours) };
    [
        day.readings.to_string(),
        perhaps(day.low.map(Celsius::get)),
        perhaps(day.high.map(Celsius::get)),
        figure(day.degree_days),
        figure(day.hours_above.get()),
        deficit(day.deficit_hours.get()),
        perhaps(day.mean_deficit.map(Kilopascal::get)),
    ]
    .join(",")
}

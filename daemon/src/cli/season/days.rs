//! Rows in, days out: the day being read, and what has to be said of the rows.

use std::collections::BTreeMap;
use std::io::{self, Write};

use agronomy::day_sums::{DayFigures, DaySums, Lines};
use agronomy::series::MS_PER_DAY;
use agronomy::units::{Celsius, Kilopascal, Minutes, RelativeHumidity};

use super::super::sheet::figure;
use crate::calendar;

/// Readings kept until they are added up together; so many rows at most are looked at to find the step.
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
    /// Rows taken.
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
    /// Rows that wait until the step is known: time, temperature, humidity.
    waiting: Vec<(i64, f64, f64)>,
    day: i64,
    sums: DaySums,
    air: [f64; KEPT],
    humidity: [f64; KEPT],
    kept: usize,
    last_ms: Option<i64>,
    pub counts: Counts,
}

impl<W: Write> Days<W> {
    /// `step`: what a reading stands for; `None` finds it among the first rows.
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
            waiting: Vec::new(),
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
        let Some(step) = self.step else { return self.wait(at_ms, air, humidity) };
        self.follow(at_ms, step)?;
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
    fn follow(&mut self, at_ms: i64, step: Minutes) -> Result<(), Stop> {
        let day = at_ms.div_euclid(MS_PER_DAY);
        let Some(last_ms) = self.last_ms else {
            (self.last_ms, self.day) = (Some(at_ms), day);
            return Ok(());
        };
        let apart_ms = apart(last_ms, at_ms)?;
        // Times are whole milliseconds, a step need not be.
        let step_ms = step.get() * MS_PER_MINUTE;
        self.counts.off_step += u64::from((apart_ms as f64 - step_ms).abs() > 1.0);
        if day != self.day {
            self.end_day()?;
            self.counts.absent_days += day - self.day - 1;
            self.day = day;
        }
        self.last_ms = Some(at_ms);
        Ok(())
    }

    /// Keeps a row until there are enough of them to find the step.
    #[cold]
    fn wait(&mut self, at_ms: i64, air: f64, humidity: f64) -> Result<(), Stop> {
        if let Some(&(last_ms, ..)) = self.waiting.last() {
            apart(last_ms, at_ms)?;
        }
        self.waiting.push((at_ms, air, humidity));
        if self.waiting.len() == KEPT { self.find_step() } else { Ok(()) }
    }

    /// Takes the commonest distance among the waiting rows for the step, of equals the shortest; then the rows.
    fn find_step(&mut self) -> Result<(), Stop> {
        let waiting = std::mem::take(&mut self.waiting);
        let mut distances = BTreeMap::<i64, usize>::new();
        for pair in waiting.windows(2) {
            *distances.entry(pair[1].0.saturating_sub(pair[0].0)).or_default() += 1;
        }
        // From the longest to the shortest, because the last of equals is taken. Years apart are no step.
        let steps = distances.into_iter().rev().filter_map(|(ms, times)| Some((minutes(ms)?, times)));
        self.step = steps.max_by_key(|(_, times)| *times).map(|(step, _)| step);
        if self.step.is_none() {
            self.waiting = waiting;
            return Ok(());
        }
        waiting.into_iter().try_for_each(|(at_ms, air, humidity)| self.take(at_ms, air, humidity))
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

    /// Ends the last day; `false` if there are rows and no step, found or said.
    ///
    /// # Errors
    ///
    /// Writing.
    pub(super) fn finish(&mut self) -> io::Result<bool> {
        if self.step.is_none() && !self.waiting.is_empty() {
            match self.find_step() {
                Err(Stop::Writing(error)) => return Err(error),
                // Rows that wait have been looked at.
                Ok(()) | Err(Stop::Row(_)) => {}
            }
        }
        if self.last_ms.is_some() {
            self.end_day()?;
        }
        self.out.flush()?;
        Ok(self.waiting.is_empty())
    }
}

/// Time between two rows, ms.
#[inline]
fn apart(last_ms: i64, at_ms: i64) -> Result<i64, Stop> {
    let apart_ms = at_ms.saturating_sub(last_ms);
    if apart_ms > 0 {
        return Ok(apart_ms);
    }
    let why = if apart_ms == 0 { "is there twice" } else { "comes after a later one" };
    Err(Stop::Row(format!("this time {why}")))
}

fn minutes(ms: i64) -> Option<Minutes> {
    Minutes::try_new(ms as f64 / MS_PER_MINUTE).ok()
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

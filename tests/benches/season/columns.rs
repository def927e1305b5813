//! Our own way through columns in memory, in a process of its own.

use std::path::Path;

use agronomy::day_sums::{DaySums, Lines};
use agronomy::units::{Celsius, Kilopascal, Minutes};

use crate::made::MINUTES;
use crate::proc;
use crate::stopwatch::Stopwatch;

/// Reads the columns, then goes through them by the clock, and prints a check line.
pub(crate) fn run(folder: &Path) {
    let (air, humidity) = (column(&folder.join("air.f32")), column(&folder.join("humidity.f32")));
    let celsius = |t| Celsius::try_new(t).expect("a temperature");
    let dry = Kilopascal::try_new(2.5).expect("a pressure");
    let lines = Lines::try_new(celsius(10.0), celsius(30.0), celsius(32.0), dry).expect("10 is below 30");
    let step = Minutes::try_new(1.0).expect("a minute");
    let clock = Stopwatch::start();
    let days = air.chunks(MINUTES).zip(humidity.chunks(MINUTES)).map(|(air, humidity)| {
        let mut day = DaySums::new(lines);
        day.take(air, humidity).expect("columns of one length");
        day.figures(step).expect("no more minutes than a day has")
    });
    // As the product's own output would be kept, so that the clock covers what a caller needs.
    let days: Vec<_> = days.collect();
    let seconds = clock.seconds();
    let rows: u64 = days.iter().map(|day| day.readings).sum();
    let sum = |of: &dyn Fn(&agronomy::day_sums::DayFigures) -> f64| days.iter().map(of).sum::<f64>();
    let celsius = |t: Option<Celsius>| t.map_or(0.0, Celsius::get);
    println!(
        "check days={} rows={rows} low={} high={} degree_days={} hours_above={} deficit_hours={} mean_vpd={} seconds={seconds} peak_kib={}",
        days.len(),
        sum(&|day| celsius(day.low)),
        sum(&|day| celsius(day.high)),
        sum(&|day| day.degree_days),
        sum(&|day| day.hours_above.get()),
        sum(&|day| day.deficit_hours.get()),
        sum(&|day| day.mean_deficit.map_or(0.0, Kilopascal::get) * day.pairs as f64) / rows as f64,
        proc::memory(std::process::id()).most / 1024,
    );
}

fn column(path: &Path) -> Vec<f32> {
    let bytes = std::fs::read(path).expect("the column that was written");
    let (singles, _) = bytes.as_chunks::<4>();
    singles.iter().map(|single| f32::from_le_bytes(*single)).collect()
}

//! Ten years of one probe, minute by minute, made from a fixed seed: as CSV, and as two columns of single floats.

use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::Path;

use glasshour::calendar;
use rand::{Rng, SeedableRng};
use rand_pcg::Pcg64;

use crate::air::Air;

/// Minutes of a day, which are its rows.
pub(crate) const MINUTES: usize = 1440;
/// 2015-01-01, days since 1970.
const FIRST_DAY: i64 = 16_436;
/// One minute of so many is missing.
const ONE_MISSING_OF: u64 = 500;

/// Writes `season.csv`, `air.f32` and `humidity.f32` (little-endian, NaN is missing) into a folder.
pub(crate) fn season(folder: &Path, days: i64) -> io::Result<()> {
    let file = |name| File::create(folder.join(name)).map(|file| BufWriter::with_capacity(1 << 20, file));
    let (mut csv, mut air, mut humidity) = (file("season.csv")?, file("air.f32")?, file("humidity.f32")?);
    let mut weather = Air::new(0, FIRST_DAY * MINUTES as i64);
    let mut dice = Pcg64::seed_from_u64(0x5ea5);
    writeln!(csv, "time,t_c,rh_pct")?;
    for day in FIRST_DAY..FIRST_DAY + days {
        let date = calendar::date(day);
        for minute in 0..MINUTES {
            let now = weather.next();
            write!(csv, "{date}T{:02}:{:02}:00Z,", minute / 60, minute % 60)?;
            if dice.next_u64() % ONE_MISSING_OF == 0 {
                writeln!(csv, ",")?;
                air.write_all(&f32::NAN.to_le_bytes())?;
                humidity.write_all(&f32::NAN.to_le_bytes())?;
            } else {
                writeln!(csv, "{:.2},{:.1}", now.t_c, now.rh_pct)?;
                air.write_all(&(now.t_c as f32).to_le_bytes())?;
                humidity.write_all(&(now.rh_pct as f32).to_le_bytes())?;
            }
        }
    }
    csv.flush()?;
    air.flush()?;
    humidity.flush()
}

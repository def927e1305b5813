//! Made readings: twenty thermometers, a value a minute at 0.01 °C, whose single differences have the entropy that the
//! design measured storage with (0.541 bytes). The same on every machine.

use std::io::Write;
use std::path::Path;

use glasshour::calendar;
use rand::{Rng, SeedableRng};
use rand_pcg::Pcg64;

/// Series in all.
pub(crate) const SERIES: usize = 20;
/// A minute, ms.
pub(crate) const MINUTE_MS: i64 = 60_000;
/// A day, ms.
pub(crate) const DAY_MS: i64 = 86_400_000;
/// Minutes of a day.
pub(crate) const DAY: i64 = 1_440;
/// When they begin: 2015-01-05T00:00:00Z, a Monday.
pub(crate) const FROM_MS: i64 = 1_420_416_000_000;
/// Offset of the site and of the record's clock, ms.
pub(crate) const OFFSET_MS: i64 = 3_600_000;

/// A probe's name.
pub(crate) fn probe(series: usize) -> String {
    format!("p{series}")
}

/// Twenty thermometers, minute after minute.
pub(crate) struct Made {
    dice: Pcg64,
    noise: [f64; SERIES],
    minute: i64,
    season: f64,
}

impl Made {
    /// From the first minute on.
    pub(crate) fn new() -> Self {
        Self { dice: Pcg64::seed_from_u64(0x1ed_6e5), noise: [0.0; SERIES], minute: 0, season: 0.0 }
    }

    /// The next minute, in hundredths.
    pub(crate) fn next(&mut self) -> [i32; SERIES] {
        let tau = core::f64::consts::TAU;
        if self.minute % DAY == 0 {
            self.season = -libm::cos(tau * (self.minute / DAY + 15) as f64 / 365.25);
        }
        let hour = (self.minute % DAY) as f64 / DAY as f64;
        let sun = libm::sin(tau * (hour - 0.25));
        let course = 12.0 + 9.0 * self.season + (6.0 + 3.0 * self.season) * sun;
        self.minute += 1;
        core::array::from_fn(|series| {
            // The sum of four even deviates is nearly a normal one; its variance is a third.
            let dice = self.dice.next_u64();
            let sum: f64 = (0..4).map(|part| f64::from((dice >> (16 * part)) as u16) / 65_536.0 - 0.5).sum();
            let noise = &mut self.noise[series];
            *noise = 0.99 * *noise + 0.0484 * 1.732_051 * sum;
            libm::round((course * (0.8 + 0.02 * series as f64) + *noise) * 100.0) as i32
        })
    }
}

/// Writes a record of so many days: a row a minute, a column for each thermometer. Bytes written.
pub(crate) fn record(file: &Path, days: i64) -> u64 {
    let mut out =
        std::io::BufWriter::with_capacity(1 << 20, std::fs::File::create(file).expect("room for a record"));
    let mut made = Made::new();
    let (mut row, mut bytes) = (Vec::new(), 0);
    row.extend_from_slice(b"at");
    for series in 0..SERIES {
        row.extend_from_slice(format!(",{}", probe(series)).as_bytes());
    }
    row.push(b'\n');
    for day in 0..days {
        let date = calendar::date((FROM_MS + OFFSET_MS).div_euclid(DAY_MS) + day);
        // The record's clock is an hour east of UTC: it begins an hour into its first day, and stays so.
        for minute in 0..DAY {
            let (date, minute) = if minute + 60 < DAY {
                (date.clone(), minute + 60)
            } else {
                (calendar::date((FROM_MS + OFFSET_MS).div_euclid(DAY_MS) + day + 1), minute + 60 - DAY)
            };
            row.extend_from_slice(format!("{date} {:02}:{:02}:00", minute / 60, minute % 60).as_bytes());
            for hundredths in made.next() {
                row.push(b',');
                push(&mut row, hundredths);
            }
            row.push(b'\n');
            if row.len() > 1 << 16 {
                out.write_all(&row).expect("room for rows");
                bytes += row.len() as u64;
                row.clear();
            }
        }
    }
    out.write_all(&row).expect("room for rows");
    out.flush().expect("room for rows");
    bytes + row.len() as u64
}

/// Hundredths as a decimal number.
pub(crate) fn push(row: &mut Vec<u8>, hundredths: i32) {
    if hundredths < 0 {
        row.push(b'-');
    }
    let all = hundredths.unsigned_abs();
    let mut digits = [0_u8; 10];
    let (mut at, mut whole) = (digits.len(), all / 100);
    loop {
        at -= 1;
        digits[at] = b'0' + (whole % 10) as u8;
        whole /= 10;
        if whole == 0 {
            break;
        }
    }
    row.extend_from_slice(&digits[at..]);
    row.extend_from_slice(&[b'.', b'0' + (all / 10 % 10) as u8, b'0' + (all % 10) as u8]);
}

/// What the columns of the record mean.
pub(crate) fn map() -> String {
    let mut text = "[usual]\nusual_interval_s = 60\ntime = { column = \"at\", formats = [\"%Y-%m-%d %H:%M:%S\"], offset = \"+01:00\" }\n".to_owned();
    for series in 0..SERIES {
        let probe = probe(series);
        text += &format!(
            "[[series]]\nfile = \"made.csv\"\nprobe = \"{probe}\"\ncolumn = \"{probe}\"\nquantity = \"air_temperature\"\nunit = \"°C\"\n"
        );
    }
    text
}

/// A site with the thermometers in five houses.
pub(crate) fn site(data: &Path, port: u16) -> String {
    let mut text = format!(
        "[site]\nname = \"Figures\"\nlatitude = 45.0\nlongitude = 12.0\nstandard_offset = \"+01:00\"\n[clock]\nvouched_by = \"system\"\n[ledger]\nfolder = \"{}\"\n[page]\nlisten = \"127.0.0.1:{port}\"\n",
        data.display()
    );
    for place in 0..5 {
        text +=
            &format!("[[start.place]]\nid = \"house-{place}\"\nname = \"House {place}\"\nkind = \"house\"\n");
    }
    for series in 0..SERIES {
        text += &format!(
            "[[start.probe]]\nprobe = \"{}\"\nplace = \"house-{}\"\nusual_interval_s = 60\n",
            probe(series),
            series % 5
        );
    }
    text
}

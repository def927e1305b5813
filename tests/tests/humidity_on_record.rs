//! Three humidity sensors of one plastic tunnel: a reference over two summers, in which it stood for weeks without ever
//! reaching 95 %, and two loggers beside it for half a year. All can reach saturation, and none is told to read low.

use std::collections::BTreeMap;
use std::ops::Range;
use std::path::Path;

use agronomy::quantity::Quantity;
use config::read_record;
use config::zone::Zones;
use glasshour::almanac::humid_nights::{HumidNight, HumidNights, humid_night};
use glasshour::almanac::pages::Readings;
use glasshour::minders::doubtful::reads_low;
use glasshour::record;
use tests::records::{records, shipped};

const HOUR_MS: i64 = 3_600_000;
const DAY_MS: i64 = 24 * HOUR_MS;
/// The record's stamps are an hour east of UTC.
const EAST_MS: i64 = HOUR_MS;
const PROBES: [&str; 3] = ["ref", "trh-1", "trh-2"];

type Series = BTreeMap<(String, Quantity), Vec<(i64, f64)>>;

struct Tunnel(Series);

impl Tunnel {
    fn read(folder: &Path) -> Self {
        let files = [
            ("tunnel-ref.toml", "Ref_AirTemp.csv"),
            ("tunnel-ref.toml", "Ref_RH.csv"),
            ("tunnel-loggers.toml", "TRH_1.csv"),
            ("tunnel-loggers.toml", "TRH_2.csv"),
        ];
        let mut series = Series::new();
        for (map, file) in files {
            let text = std::fs::read_to_string(shipped(map)).unwrap();
            let map =
                read_record(&text, &Zones::system()).unwrap_or_else(|faults| panic!("{}", faults.named(map)));
            let file = folder.join("it-tunnel-greenhouse-1").join(file);
            let heard = record::read(&map, &[file]).unwrap_or_else(|error| panic!("{error}")).readings;
            for heard in heard {
                let (Some(value), Some(at_ms)) = (heard.value, heard.measured_ms) else { continue };
                series.entry((heard.probe.to_string(), heard.quantity)).or_default().push((at_ms, value));
            }
        }
        for readings in series.values_mut() {
            readings.sort_by_key(|(at_ms, _)| *at_ms);
        }
        Self(series)
    }

    /// The nights of a probe, whose humidity says only such a share of what it did.
    fn nights(&self, probe: &str, share: f64) -> Vec<HumidNight> {
        let key = (probe.to_owned(), Quantity::RelativeHumidity);
        let mut readings = Self(self.0.clone());
        readings.0.get_mut(&key).unwrap().iter_mut().for_each(|(_, pct)| *pct *= share);
        let span = &self.0[&key];
        let (first, last) = (span[0].0, span[span.len() - 1].0);
        let days = (first + EAST_MS).div_euclid(DAY_MS)..=(last + EAST_MS).div_euclid(DAY_MS);
        let night = |day: i64| {
            let midnight = day * DAY_MS - EAST_MS;
            let others = PROBES.into_iter().filter(|other| *other != probe);
            humid_night(&readings, probe, others, day, &(midnight - 3 * HOUR_MS..midnight + 6 * HOUR_MS))
        };
        days.filter_map(night).collect()
    }
}

impl Readings for Tunnel {
    fn sound(&self, probe: &str, quantity: Quantity, range: Range<i64>) -> Vec<(i64, f64)> {
        let readings = self.0.get(&(probe.to_owned(), quantity)).map_or(&[][..], Vec::as_slice);
        readings.iter().filter(|(at_ms, _)| range.contains(at_ms)).copied().collect()
    }

    fn heard(&self, probe: &str, range: Range<i64>) -> bool {
        !self.sound(probe, Quantity::RelativeHumidity, range).is_empty()
    }
}

/// On how many mornings a probe would be told to read low.
fn mornings(nights: &[HumidNight]) -> usize {
    let mut kept = HumidNights::default();
    let told = nights.iter().filter(|night| {
        kept.keep("it", (*night).clone());
        reads_low(kept.of("it"), i64::MIN).is_some()
    });
    told.count()
}

#[test]
fn v5_drought_tells_no_sound_sensor_to_read_low_and_one_that_tops_out_is_told() {
    let Some(folder) = records() else { return };
    let tunnel = Tunnel::read(&folder);
    // Whatever is not known to be damp taken as damp: the rule by itself, which cries wolf in drought.
    let naive = |nights: &[HumidNight]| {
        let damp = |night: &HumidNight| HumidNight { damp_by: Some(String::new()), ..night.clone() };
        mornings(&nights.iter().map(damp).collect::<Vec<_>>())
    };
    let counts = PROBES.map(|probe| {
        let nights = tunnel.nights(probe, 1.0);
        let damp = nights.iter().filter(|night| night.damp_by.is_some()).count();
        (nights.len(), damp, naive(&nights), mornings(&nights))
    });
    // Nights known, of them damp by another, mornings told by the rule alone, and told.
    assert_eq!(counts, [(253, 61, 88, 0), (113, 71, 0, 0), (111, 85, 0, 0)]);
    // Loggers that have lost eight percent of their scale.
    for probe in ["trh-1", "trh-2"] {
        assert!(mornings(&tunnel.nights(probe, 0.92)) > 60, "{probe}");
    }
}

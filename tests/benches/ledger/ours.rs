//! Our own figures.

use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use agronomy::quantity::Quantity;
use glasshour::ledger::{Aftermath, Commit, Founding, Ledger, Past, PastReading, Point, Reader};
use glasshour::reading::{Grade, ProbeName, Reading, Reason};
use tests::records::{plain, records, shipped};
use tests::servers::process::{Process, free_port};

use super::air::entropy_of_differences;
use super::http::try_call;
use super::made::{DAY, DAY_MS, FROM_MS, MINUTE_MS, Made, OFFSET_MS, SERIES, map, probe, record, site};
use super::proc::{memory, used};
use super::product::{as_a_service, program};
use super::stopwatch::Stopwatch;
use super::table::{Table, mb, median, spread};

const AIR: Quantity = Quantity::AirTemperature;
const WHO: &str = "Glasshour";

/// Measures and fills in.
pub(crate) fn measure(table: &mut Table, days: i64) {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let data = folder.path().join("data");
    let port = free_port();
    load(table, folder.path(), &data, days, port);
    room(table, &data, days);
    let now_ms = live(&data, days);
    questions(table, &data, days, now_ms);
    at_rest(table, folder.path(), days, port);
    real(table);
}

/// A record taken in, and the same record again.
fn load(table: &mut Table, folder: &Path, data: &Path, days: i64, port: u16) {
    let watch = Stopwatch::start();
    let bytes = record(&folder.join("made.csv"), days);
    println!("a record of {} made in {:.1} s", mb(bytes), watch.seconds());
    std::fs::write(folder.join("made.toml"), map()).expect("room for a map");
    std::fs::write(folder.join("site.toml"), site(data, port)).expect("room for a site file");
    let readings = days * DAY * SERIES as i64;
    for (what, aim) in [("record taken in", "4 M/s, 20 MB"), ("the same record again", "no slower")] {
        let mut command = Command::new(program());
        command.current_dir(folder).args([
            "take-in",
            "--site",
            "site.toml",
            "--record",
            "made.toml",
            "made.csv",
        ]);
        command.stdout(Stdio::null());
        let watch = Stopwatch::start();
        let mut process = Process::start(&mut command);
        let (mut most, mut cpu_s) = (0, 0.0_f64);
        let status = loop {
            most = most.max(memory(process.0.id()).most);
            cpu_s = cpu_s.max(used(process.0.id()).cpu_ms / 1000.0);
            if let Some(status) = process.0.try_wait().expect("it can be waited for") {
                break status;
            }
            std::thread::sleep(Duration::from_millis(10));
        };
        let seconds = watch.seconds();
        assert!(status.success(), "take-in: {status}");
        // Beside the clock its own time on a processor, for a shared machine.
        let rate = |seconds: f64| readings as f64 / seconds / 1e6;
        let much = format!(
            "{:.2} M/s in {seconds:.1} s, {:.2} M/s by its processor time, {}",
            rate(seconds),
            rate(cpu_s),
            mb(most)
        );
        table.row(&format!("{what}: {readings} readings of a CSV"), WHO, &much, aim);
    }
    std::fs::remove_file(folder.join("made.csv")).expect("it was just written");
}

fn open(data: &Path) -> Ledger {
    let founding = Founding { offset_ms: OFFSET_MS, program: "figures".to_owned() };
    let ledger = Ledger::open(data, &founding).expect("the ledger is there");
    for series in 0..SERIES {
        ledger.set_usual_interval(&probe(series), MINUTE_MS);
    }
    ledger
}

fn room(table: &mut Table, data: &Path, days: i64) {
    let sizes = open(data).sizes().expect("a ledger that was just written");
    let readings = sizes.chunk_readings as f64;
    assert_eq!(sizes.chunk_readings as i64, days * DAY * SERIES as i64, "every reading is in a chunk, once");
    let each = |bytes: u64| format!("{:.3} B", bytes as f64 / readings);
    table.row(
        "bytes per archived reading, all pages in use",
        WHO,
        &each(sizes.used_bytes),
        "0.70; bench 0.652",
    );
    table.row("of which readings", WHO, &each(sizes.chunk_bytes), "0.566");
    table.row("of which hourly roll-ups", WHO, &each(sizes.hour_bytes), "0.068");
    let mut made = Made::new();
    let first: Vec<i32> = (0..60 * DAY).map(|_| made.next()[0]).collect();
    let floor = format!("{:.3} B", entropy_of_differences(&first));
    table.row("the same, values alone", "entropy of single differences", &floor, "0.541");
}

/// Three days through the live path, a commit a minute; the first is compacted. When they end, UTC ms.
fn live(data: &Path, days: i64) -> i64 {
    let mut ledger = open(data);
    let from_ms = FROM_MS + days * DAY_MS;
    let boot = ledger.begin_boot(0, Some((from_ms, "figures"))).expect("room for a boot");
    let probes: Vec<ProbeName> = (0..SERIES).map(|series| probe(series).into()).collect();
    let mut made = Made::new();
    let mut now_ms = from_ms;
    for _ in 0..3 * DAY {
        let row = made.next();
        let reading = |(probe, ticks): (&ProbeName, i32)| Reading {
            probe: probe.clone(),
            quantity: AIR,
            value: f64::from(ticks) / 100.0,
            at_ms: now_ms,
            reason: Reason::None,
        };
        let readings: Vec<Reading> = probes.iter().zip(row).map(reading).collect();
        now_ms += MINUTE_MS;
        let commit = Commit { readings: &readings, ..Commit::empty(boot, now_ms, now_ms - from_ms) };
        ledger.commit(&commit).expect("room for a commit");
        ledger.checkpoint().expect("room for a checkpoint");
    }
    let watch = Stopwatch::start();
    ledger.compact(now_ms - 2 * DAY_MS).expect("room for chunks");
    println!("a day of twenty series compacted in {:.1} ms", watch.ms());
    now_ms
}

/// Drops the pages of file and log from the system's cache.
fn cool(data: &Path) {
    for name in ["ledger", "ledger-wal"] {
        let file = std::fs::File::open(data.join(name)).expect("the ledger is there");
        rustix::fs::fdatasync(&file).expect("it can be flushed");
        rustix::fs::fadvise(&file, 0, None, rustix::fs::Advice::DontNeed).expect("its pages can be dropped");
    }
}

fn questions(table: &mut Table, data: &Path, days: i64, now_ms: i64) {
    let opened: Vec<f64> = (0..7)
        .map(|_| {
            cool(data);
            let watch = Stopwatch::start();
            drop(open(data));
            watch.ms()
        })
        .collect();
    table.row(
        &format!("opened, {days} days of twenty series, cold"),
        WHO,
        &format!("{} ms", spread(&opened, 1)),
        "100 ms; bench 19",
    );
    let names: Vec<String> = (0..SERIES).map(probe).collect();
    let wanted: Vec<(&str, Quantity)> = names.iter().map(|name| (name.as_str(), AIR)).collect();
    let last_day = |ledger: &Reader, until_ms: i64| {
        let readings = ledger.readings_of(&wanted, until_ms - DAY_MS..until_ms).expect("an answer");
        assert_eq!(readings.iter().map(Vec::len).sum::<usize>(), SERIES * DAY as usize);
    };
    ask(table, data, "last 24 h of twenty series, from batches", "0.5 ms; bench 0.33 / 0.6", |ledger| {
        last_day(ledger, now_ms);
    });
    ask(table, data, "a day of half a year ago, twenty series, from chunks", "bench 1.3 / 13", |ledger| {
        last_day(ledger, FROM_MS + (days - 180) * DAY_MS);
    });
    let hours = |ledger: &Reader, until_ms: i64| {
        let hours = ledger.hourly("p7", AIR, until_ms - 365 * DAY_MS..until_ms).expect("an answer");
        assert!(hours.len() >= 365 * 24 - 1, "{}", hours.len());
    };
    let until_ms = FROM_MS + days * DAY_MS;
    ask(
        table,
        data,
        "a year of one series, hourly lowest, mean, highest",
        "0.6 ms; bench 0.41 / 7",
        |ledger| hours(ledger, until_ms),
    );
    ask(table, data, "the same up to now, its last two days from batches", "", |ledger| {
        hours(ledger, now_ms);
    });
    ask(
        table,
        data,
        &format!("{days} days of one series, degree days from every reading"),
        "60 ms (ten years); bench 44 / 150",
        |ledger| {
            let sums = degree_days(ledger, days);
            assert!(sums.len() as i64 >= days && sums.iter().sum::<f64>() > 0.0);
        },
    );
}

/// The whole service on all of it: how soon its page is there, and what it holds at rest.
fn at_rest(table: &mut Table, folder: &Path, days: i64, port: u16) {
    let mut command = as_a_service();
    command.current_dir(folder).args(["run", "site.toml"]).stdout(Stdio::null()).stderr(Stdio::null());
    let (watch, process) = (Stopwatch::start(), Process::start(&mut command));
    while try_call(port, "/", &[]).is_none_or(|(status, _)| status != 200) {
        std::thread::sleep(Duration::from_millis(1));
    }
    let ms = watch.ms();
    // Whatever starting left to do is done by then.
    std::thread::sleep(Duration::from_secs(10));
    let held = memory(process.0.id());
    let much = format!("page after {ms:.0} ms; {} resident, {} its own", mb(held.resident), mb(held.own));
    table.row(&format!("the service started on {days} days and at rest"), WHO, &much, "15 MB");
    process.end();
}

/// Warm and cold times of a question.
fn ask(table: &mut Table, data: &Path, what: &str, aim: &str, question: impl Fn(&Reader)) {
    let cold: Vec<f64> = (0..5)
        .map(|_| {
            let ledger = open(data);
            let reader = ledger.reader().expect("an open ledger");
            cool(data);
            let watch = Stopwatch::start();
            question(&reader);
            watch.ms()
        })
        .collect();
    let ledger = open(data);
    let reader = ledger.reader().expect("an open ledger");
    let time = || {
        let watch = Stopwatch::start();
        question(&reader);
        watch.ms()
    };
    let first = time();
    let warm: Vec<f64> = (0..(2_000.0 / first.max(1.0)) as usize + 5).map(|_| time()).collect();
    let much = format!("{} ms; cold {:.1}", spread(&warm, 2), median(&cold));
    table.row(what, WHO, &much, aim);
}

/// Degree days over 10 °C, cut off at 30, of each day: the time integral over every reading.
fn degree_days(reader: &Reader, days: i64) -> Vec<f64> {
    let mut sums = vec![0.0; days as usize + 1];
    let mut before: Option<(i64, f64)> = None;
    let (mut day, mut day_ends_ms) = (0, FROM_MS + DAY_MS);
    let range = FROM_MS..FROM_MS + days * DAY_MS;
    let each = |point: Point| {
        if point.reason.grade() != Grade::Sound {
            return;
        }
        if let Some((at_ms, value)) = before {
            while at_ms >= day_ends_ms {
                day += 1;
                day_ends_ms += DAY_MS;
            }
            let held_ms = (point.at_ms - at_ms).min(2 * MINUTE_MS);
            sums[day] += (value.min(30.0) - 10.0).max(0.0) * held_ms as f64;
        }
        before = Some((point.at_ms, point.value));
    };
    reader.look(|view| view.each_reading("p7", AIR, range, each)).expect("an answer");
    sums.iter().map(|sum| sum / DAY_MS as f64).collect()
}

/// Open records and the maps they are read by.
const REAL: [(&str, &str, &[&str]); 7] = [
    ("tunnel-ref", "it-tunnel-greenhouse-1", &["Ref_AirTemp.csv", "Ref_RH.csv"]),
    ("tunnel-light", "it-tunnel-greenhouse-1", &["Ref_PAR.csv"]),
    ("tunnel-soil", "it-tunnel-greenhouse-1", &["Ref_SoilTemp.csv", "Ref_WaterCont.csv"]),
    ("tunnel-loggers", "it-tunnel-greenhouse-1", &["TRH_1.csv", "TRH_2.csv"]),
    ("tunnel-four-channel", "it-tunnel-greenhouse-1", &["Temp_4ch_1.csv.gz", "Temp_4ch_2.csv.gz"]),
    ("tunnel-valid", "it-tunnel-greenhouse-1", &["Valid_A.csv", "Valid_B.csv", "Valid_C.csv", "Valid_D.csv"]),
    ("tunnel-micro", "it-tunnel-greenhouse-1", &["Micro_1.csv", "Micro_2.csv"]),
];

/// Bytes for each reading of the open records, 5 to 30 minutes apart, as read by the shipped maps.
fn real(table: &mut Table) {
    let Some(folder) = records() else { return };
    let data = tempfile::tempdir().expect("a temporary folder");
    let mut ledger = open(data.path());
    let mut readings = 0;
    for (name, sub, files) in REAL {
        let text = std::fs::read_to_string(shipped(&format!("{name}.toml"))).expect("a shipped map");
        let map = config::read_record(&text, &config::zone::Zones::system()).expect("a shipped map is whole");
        let files: Vec<_> =
            files.iter().map(|file| plain(&folder.join(sub).join(file), data.path())).collect();
        if files.is_empty() {
            continue;
        }
        let recorded = glasshour::record::read(&map, &files).expect("an open record");
        for series in &map.series {
            let quantity = series.measured.quantity;
            let of_it =
                recorded.readings.iter().filter(|it| it.quantity == quantity && *it.probe == *series.probe);
            let past: Vec<PastReading> = of_it
                .map(|heard| {
                    PastReading::of(&Reading {
                        probe: heard.probe.clone(),
                        quantity,
                        value: heard.value.unwrap_or(f64::NAN),
                        at_ms: heard.measured_ms.unwrap_or(0),
                        reason: Reason::None,
                    })
                })
                .collect();
            let past = Past { probe: &series.probe.as_str().into(), quantity, readings: &past };
            let taken = ledger.take_in(FROM_MS + 4_000 * DAY_MS, &[past], |_| Aftermath::default());
            readings += taken.expect("room for a record").new;
        }
    }
    let sizes = ledger.sizes().expect("a ledger that was just written");
    let each = |bytes: u64| format!("{:.2}", bytes as f64 / readings as f64);
    let much = format!(
        "{} B: readings {}, roll-ups {}",
        each(sizes.used_bytes),
        each(sizes.chunk_bytes),
        each(sizes.hour_bytes)
    );
    table.row(
        &format!("bytes per reading, the tunnel's open records, {readings} readings"),
        WHO,
        &much,
        "bench 1.91, roll-ups 0.80",
    );
}

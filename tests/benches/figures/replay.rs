//! How fast a record goes through keeper, ledger, almanac and minders; beside it, a job that computes a few figures
//! of each day from the same file and nothing else.

use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

use glasshour::calendar;
use serde_json::Value;
use tests::servers::process::{Process, need};

use super::Extent;
use super::air::Air;
use super::garden::{DAY_MS, MINUTE_MS, MONDAY_MS};
use super::proc::{memory, used};
use super::product::program;
use super::stopwatch::Stopwatch;
use super::table::{Table, mb, median, spread};

const SQLITE: &str = "/usr/bin/sqlite3";

const MAP: &str = r#"[usual]
probe = "made"
usual_interval_s = 60
missing = [""]
time = { column = "at", formats = ["%Y-%m-%d %H:%M:%S"], offset = "+00:00" }
[[series]]
file = "made.csv"
column = "t_c"
quantity = "air_temperature"
unit = "°C"
[[series]]
file = "made.csv"
column = "rh_pct"
quantity = "relative_humidity"
unit = "%"
"#;

/// What the peer does with the made record.
const MADE_JOB: &str = "create table r(at text, t real, rh real);
.mode csv
.import --skip 1 made.csv r
create temp view d as select substr(at,1,10) d, min(t), max(t), avg(t), avg(rh), sum(t>32)/60.0 h from r group by 1;
select round(sum(h),1) from d;
";

/// What the peer does with the tunnel's record: it knows its one interval, its missing code and nothing of gaps.
const TUNNEL_JOB: &str = "create table a(t, at text);
create table b(rh, at text);
.mode csv
.import --skip 1 Ref_AirTemp.csv a
.import --skip 1 Ref_RH.csv b
create temp view d as select substr(at,1,10) d, min(t+0), max(t+0), avg(t), sum(t+0>32)/4.0 h from a where t<>'NaN' group by 1;
create temp view e as select substr(at,1,10) d, avg(rh) from b where rh<>'NaN' group by 1;
select (select round(sum(h),1) from d), (select count(*) from e);
";

/// Measures and prints.
pub(crate) fn measure(extent: Extent) {
    let times = extent.pick(1, 5);
    program();
    let how = "Whole processes from files to output, middle (least-most). The peer is SQLite's own command line in memory: import, then lowest, highest, means and hours above 32 of each day; no grades, gaps, deficits, degree days, notices.";
    let mut table = Table::new("Replay", how);
    if let Some(folder) = tunnel() {
        let maps = Path::new(env!("CARGO_MANIFEST_DIR")).join("../config/examples/records");
        let files = ["Ref_AirTemp.csv", "Ref_RH.csv"];
        let replay =
            replay(&maps.join("tunnel-ref.toml"), &folder, &files, Some(&maps.join("tunnel-ground.toml")));
        contest(&mut table, "the tunnel's record", &replay, &folder, TUNNEL_JOB, times);
    }
    let scratch = tempfile::tempdir().expect("a temporary folder");
    let days = extent.pick(30, 365);
    make(scratch.path(), days);
    let replay = replay(&scratch.path().join("made.toml"), scratch.path(), &["made.csv"], None);
    contest(&mut table, &format!("{days} made days of minutes"), &replay, scratch.path(), MADE_JOB, times);
    table.print();
}

/// The folder of the tunnel's record, beside this repository or named in `GLASSHOUR_RECORDS`.
fn tunnel() -> Option<PathBuf> {
    let beside = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../shared/data");
    let records = std::env::var_os("GLASSHOUR_RECORDS").map_or(beside, PathBuf::from);
    let folder = records.join("it-tunnel-greenhouse-1");
    let found = folder.join("Ref_RH.csv").exists();
    if !found {
        eprintln!(
            "SKIPPED: no record in {}; name the folder of records in GLASSHOUR_RECORDS",
            folder.display()
        );
    }
    found.then_some(folder)
}

/// A year's record of one probe.
fn make(folder: &Path, days: i64) {
    std::fs::write(folder.join("made.toml"), MAP).expect("the folder takes a file");
    let file = std::fs::File::create(folder.join("made.csv")).expect("the folder takes a file");
    let mut file = BufWriter::new(file);
    let mut air = Air::new(1, MONDAY_MS / MINUTE_MS);
    writeln!(file, "at,t_c,rh_pct").expect("room for a line");
    for at_ms in (MONDAY_MS..MONDAY_MS + days * DAY_MS).step_by(MINUTE_MS as usize) {
        let minute = air.next();
        let (day, clock) = (calendar::date(at_ms.div_euclid(DAY_MS)), at_ms.rem_euclid(DAY_MS) / MINUTE_MS);
        let (hour, of_hour) = (clock / 60, clock % 60);
        writeln!(file, "{day} {hour:02}:{of_hour:02}:00,{:.2},{:.1}", minute.t_c, minute.rh_pct)
            .expect("room for a line");
    }
}

fn replay(map: &Path, folder: &Path, files: &[&str], ground: Option<&Path>) -> impl Fn() -> Command + use<> {
    let mut arguments = vec!["replay".into(), "--json".into(), "--record".into(), map.as_os_str().to_owned()];
    if let Some(ground) = ground {
        arguments.extend(["--ground".into(), ground.as_os_str().to_owned()]);
    }
    arguments.extend(files.iter().map(|file| folder.join(file).into_os_string()));
    move || {
        let mut command = Command::new(program());
        command.args(&arguments);
        command
    }
}

/// Both in turn, so that what else the machine does troubles both.
fn contest(
    table: &mut Table,
    what: &str,
    replay: &impl Fn() -> Command,
    folder: &Path,
    job: &str,
    times: usize,
) {
    let peer_is_there = need(SQLITE, "sqlite3");
    let peer = || {
        let mut command = Command::new(SQLITE);
        command.current_dir(folder).arg(":memory:");
        command
    };
    let (mut ours, mut theirs) = (Run::default(), Run::default());
    for _ in 0..times {
        ours.once(replay(), "");
        if peer_is_there {
            theirs.once(peer(), job);
        }
    }
    let value: Value = serde_json::from_str(&ours.output).expect("replay prints JSON");
    let readings = readings(&value["readings"]);
    let hours = hours_above_32(&value);
    for (who, run, found) in [
        ("Glasshour", &ours, format!("{hours:.1} h above 32 °C")),
        (
            "sqlite3",
            &theirs,
            format!("{} h above 32 °C", theirs.output.trim().split(',').next().unwrap_or("")),
        ),
    ] {
        if run.seconds.is_empty() {
            continue;
        }
        let rate = readings as f64 / median(&run.seconds);
        let much = format!(
            "{rate:.0} readings/s: {readings} in {} s, of which {} s on a processor, {} at most; {found}",
            spread(&run.seconds, 3),
            spread(&run.cpu_seconds, 3),
            mb(run.most)
        );
        table.row(what, who, &much, "");
    }
}

/// Readings by probe, quantity, grade and reason, summed.
fn readings(counts: &Value) -> u64 {
    match counts {
        // The reasons are parts of the grades: counted once is enough.
        Value::Object(map) => {
            map.iter().filter(|(key, _)| *key != "reasons").map(|(_, part)| readings(part)).sum()
        }
        Value::Array(list) => list.iter().map(readings).sum(),
        other => other.as_u64().unwrap_or(0),
    }
}

fn hours_above_32(value: &Value) -> f64 {
    let pages = value["day_pages"].as_array().map_or(&[] as &[Value], Vec::as_slice);
    pages.iter().filter_map(|page| page.pointer("/hours_above/t_c/32").and_then(Value::as_f64)).sum()
}

/// Runs of one contender.
#[derive(Default)]
struct Run {
    seconds: Vec<f64>,
    cpu_seconds: Vec<f64>,
    most: u64,
    output: String,
}

impl Run {
    /// Runs it to its end; `input` is what it is told.
    fn once(&mut self, mut command: Command, input: &str) {
        let output = tempfile::NamedTempFile::new().expect("a temporary file");
        let into = output.reopen().expect("a file can be opened twice");
        let watch = Stopwatch::start();
        let mut process = Process::start(command.stdin(Stdio::piped()).stdout(into));
        if let Some(mut stdin) = process.0.stdin.take() {
            stdin.write_all(input.as_bytes()).expect("it reads what it is told");
        }
        let mut cpu_ms = 0.0;
        let ended = loop {
            // On a shared machine time on the processor says more than the time by the clock.
            cpu_ms = used(process.0.id()).cpu_ms.max(cpu_ms);
            self.most = self.most.max(memory(process.0.id()).most);
            if let Some(ended) = process.0.try_wait().expect("a child can be waited for") {
                break ended;
            }
            std::thread::sleep(Duration::from_millis(1));
        };
        self.seconds.push(watch.seconds());
        self.cpu_seconds.push(cpu_ms / 1000.0);
        assert!(ended.success(), "{command:?}: {ended}");
        self.output = std::fs::read_to_string(output.path()).expect("what it printed");
    }
}

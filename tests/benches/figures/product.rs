//! The program under measurement: built, set up and started as a grower would.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::OnceLock;

use glasshour::calendar;
use tests::servers::process::{Process, free_port};

/// Probes of the site, each with air temperature and humidity: twenty series.
pub(crate) const PROBES: usize = 10;

/// The release build, made if need be.
pub(crate) fn program() -> &'static Path {
    static PROGRAM: OnceLock<PathBuf> = OnceLock::new();
    PROGRAM.get_or_init(|| {
        let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
        let mut build = Command::new(cargo);
        build.args(["build", "--release", "--package", "glasshour", "--bin", "glasshour"]);
        build.current_dir(env!("CARGO_MANIFEST_DIR"));
        // What cargo tells us of this package would look to some build scripts like a change, and half the
        // dependencies would be built again.
        for (name, _) in std::env::vars_os() {
            let told = name.to_string_lossy();
            if told.starts_with("CARGO_PKG_") || told.starts_with("CARGO_MANIFEST_") {
                build.env_remove(&name);
            }
        }
        assert!(build.status().is_ok_and(|status| status.success()), "the release build");
        // This benchmark itself lies in target/release/deps.
        let own = std::env::current_exe().expect("a running program has a path");
        let program = own.parent().and_then(Path::parent).map(|folder| folder.join("glasshour"));
        program
            .filter(|program| program.exists())
            .expect("the build leaves the program beside the benchmarks")
    })
}

/// The program with the environment that the unit gives it on a board.
pub(crate) fn as_a_service() -> Command {
    let mut command = Command::new(program());
    let unit = include_str!("../../../deploy/glasshour.service");
    let told = unit.lines().filter_map(|line| line.strip_prefix("Environment="));
    command.envs(told.flat_map(str::split_whitespace).filter_map(|pair| pair.split_once('=')));
    command
}

/// A site of ten probes in five places, five plantings, the door open.
pub(crate) struct Installed {
    /// Where it lies.
    pub(crate) folder: tempfile::TempDir,
    /// Where the page answers.
    pub(crate) page: u16,
    /// Where the door opens.
    pub(crate) door: u16,
}

impl Installed {
    /// Writes the site file. `since_ms`: when everything was planted and hung.
    pub(crate) fn new(since_ms: i64) -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        Self::with(since_ms, folder, "door", |installed| {
            format!("[door]\nlisten = \"127.0.0.1:{}\"", installed.door)
        })
    }

    /// The same with a broker on this port in the door's place.
    pub(crate) fn listening_to(since_ms: i64, broker: u16) -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        Self::with(since_ms, folder, "broker", |_| format!("[broker]\nhost = \"127.0.0.1\"\nport = {broker}"))
    }

    fn with(
        since_ms: i64,
        folder: tempfile::TempDir,
        source: &str,
        wire: impl FnOnce(&Self) -> String,
    ) -> Self {
        let installed = Self { folder, page: free_port(), door: free_port() };
        let wire = wire(&installed);
        let text = installed.site(&calendar::date(since_ms.div_euclid(86_400_000)), source, &wire);
        std::fs::write(installed.site_file(), text).expect("the folder takes a file");
        installed
    }

    /// The site file.
    pub(crate) fn site_file(&self) -> PathBuf {
        self.folder.path().join("site.toml")
    }

    /// The data folder.
    pub(crate) fn data(&self) -> PathBuf {
        self.folder.path().join("data")
    }

    /// Starts the service; it may not answer yet.
    pub(crate) fn start(&self) -> Process {
        let mut command = as_a_service();
        command.arg("run").arg(self.site_file()).stdout(Stdio::null()).stderr(Stdio::null());
        Process::start(&mut command)
    }

    fn site(&self, planted: &str, source: &str, wire: &str) -> String {
        let mut text = format!(
            r#"[site]
name = "Figures"
latitude = 45.0
longitude = 12.0
standard_offset = "+01:00"
[clock]
vouched_by = "system"
[ledger]
folder = "{}"
commit_every_s = 60
[page]
listen = "127.0.0.1:{}"
[letter]
at = "06:00"
[quiet]
from = "22:00"
to = "05:00"
{wire}
"#,
            self.data().display(),
            self.page,
        );
        // Writing to a string cannot fail.
        for probe in 0..PROBES {
            let _ = writeln!(
                text,
                r#"[[{source}.topic]]
filter = "figures/p{probe}"
probe = "p{probe}"
usual_interval_s = 60
fields = {{ air_temperature = {{ pointer = "/t", unit = "°C" }}, relative_humidity = {{ pointer = "/rh", unit = "%" }} }}
time = {{ pointer = "/at", format = "unix_ms" }}
[[start.probe]]
probe = "p{probe}"
place = "place-{}"
height_m = 1.5
shelter = "screened"
usual_interval_s = 60"#,
                probe / 2
            );
        }
        for place in 0..PROBES / 2 {
            let _ = writeln!(
                text,
                r#"[[start.place]]
id = "place-{place}"
name = "Place {place}"
kind = "house"
[[start.planting]]
id = "tomatoes-{place}"
crop = "tomato"
place = "place-{place}"
count = 10
planted_out = {planted}"#
            );
        }
        text
    }
}

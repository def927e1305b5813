//! Who takes part, and how each is made ready.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use crate::product;

/// The word by which this program is started again, to go through columns in a fresh process.
pub(crate) const COLUMNS: &str = "--columns";

/// From what a contender reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum From {
    /// The file; its whole process is timed, or its own clock where that starts after its imports.
    Csv,
    /// Columns in memory, by its own clock.
    Columns,
}

/// One that takes part.
pub(crate) struct Contender {
    /// Its name in the table.
    pub(crate) who: &'static str,
    /// From what it reads.
    pub(crate) from: From,
    /// What is aimed at; empty for others than us.
    pub(crate) aim: &'static str,
    /// What is started, with its arguments.
    pub(crate) command: Vec<PathBuf>,
}

/// Everybody who can take part here; who cannot is named on standard error.
pub(crate) fn all(folder: &Path) -> Vec<Contender> {
    let entry = |who, from, aim, command: &[&Path]| Contender {
        who,
        from,
        aim,
        command: command.iter().map(|part| part.to_path_buf()).collect(),
    };
    let csv = folder.join("season.csv");
    let own = std::env::current_exe().expect("a running program has a path");
    let word = Path::new;
    let mut all = vec![
        entry(
            "Glasshour, `season --csv`",
            From::Csv,
            "0.2 s, 20 MiB",
            &[product::program(), word("season"), word("--csv"), &csv],
        ),
        entry("Glasshour, `day_sums`", From::Columns, "at most the floor", &[&own, word(COLUMNS), folder]),
    ];
    match floor(folder) {
        Ok(floor) => all.extend([
            entry("floor: C, the library's `exp`, mapped", From::Csv, "", &[&floor, word("csv"), folder]),
            entry("floor: C, the library's `exp`", From::Columns, "", &[&floor, word("columns"), folder]),
        ]),
        Err(why) => eprintln!("LEFT OUT: the floor in C: {why}"),
    }
    match python() {
        Ok(python) => {
            let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/season/peers.py");
            let peers = [("numpy", From::Columns), ("polars", From::Csv), ("duckdb", From::Csv)];
            all.extend(
                peers.map(|(name, from)| entry(name, from, "", &[&python, &script, word(name), folder])),
            );
        }
        Err(why) => eprintln!("LEFT OUT: numpy, polars and duckdb: {why}"),
    }
    all
}

fn floor(folder: &Path) -> Result<PathBuf, String> {
    let program = folder.join("floor");
    let source = concat!(env!("CARGO_MANIFEST_DIR"), "/benches/season/floor.c");
    done(Command::new("cc").args(["-O3", "-o"]).arg(&program).arg(source).arg("-lm"))?;
    Ok(program)
}

/// The interpreter of a virtual environment with the peers in it, kept beside the build until their versions change.
fn python() -> Result<PathBuf, String> {
    let wanted = include_str!("peers.txt");
    let home = Path::new(env!("CARGO_TARGET_TMPDIR")).join("season-peers");
    let (python, ready) = (home.join("bin/python"), home.join("ready"));
    if std::fs::read_to_string(&ready).is_ok_and(|text| text == wanted) {
        return Ok(python);
    }
    eprintln!("fetching numpy, polars and duckdb into {}", home.display());
    done(Command::new("python3").args(["-m", "venv", "--clear"]).arg(&home))?;
    let list = concat!(env!("CARGO_MANIFEST_DIR"), "/benches/season/peers.txt");
    done(Command::new(&python).args(["-m", "pip", "install", "--quiet", "--requirement", list]))?;
    std::fs::write(&ready, wanted).map_err(|error| error.to_string())?;
    Ok(python)
}

fn done(command: &mut Command) -> Result<(), String> {
    let name = command.get_program().to_string_lossy().into_owned();
    let ended = command.stdin(Stdio::null()).output().map_err(|error| format!("{name}: {error}"))?;
    if ended.status.success() {
        return Ok(());
    }
    let said = String::from_utf8_lossy(&ended.stderr);
    Err(format!("{name} ended with {}: {}", ended.status, said.trim()))
}

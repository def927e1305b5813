//! Python with general readers from its package index, to read what we write: `icalendar` and `jsonschema`.

use std::io::Write as _;
use std::path::PathBuf;
use std::process::{Command, Stdio};

use serde_json::Value;

use crate::program::root;

/// Where the environment is named that has them; `.ci/run` makes one.
const NAMED: &str = "GLASSHOUR_PYTHON";

/// The Python that has the readers; says how to get it where there is none.
///
/// # Panics
///
/// When there is none and `CI` is set: there nothing may be skipped.
pub fn available() -> Option<PathBuf> {
    let named = std::env::var_os(NAMED).map(PathBuf::from);
    let python = named.unwrap_or_else(|| root().join("target/python/bin/python3"));
    if python.exists() {
        return Some(python);
    }
    let sentence = format!(
        "SKIPPED: no {}; python3 -m venv target/python && target/python/bin/pip install icalendar jsonschema\n",
        python.display()
    );
    assert!(std::env::var_os("CI").is_none(), "{sentence}");
    std::io::stderr().write_all(sentence.as_bytes()).expect("stderr takes a line");
    None
}

/// What a script of `tests/servers` says, as JSON, about what it is given.
///
/// # Panics
///
/// When it cannot be run, or fails.
pub fn read(python: &PathBuf, script: &str, arguments: &[&str], given: &str) -> Value {
    let mut child = Command::new(python)
        .arg(root().join("tests/servers").join(script))
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap_or_else(|error| panic!("{}: {error}", python.display()));
    child.stdin.take().expect("it is piped").write_all(given.as_bytes()).expect("the script reads");
    let output = child.wait_with_output().expect("the script ends");
    assert!(output.status.success(), "{script}: {}", output.status);
    serde_json::from_slice(&output.stdout).expect("the script prints JSON")
}

//! The demo as anybody starts it: its address, its story, its end.

use std::fs::File;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};

use tests::program::{get, program, signal};
use tests::servers::process::{until, until_within};

/// A demo whose output goes to a file.
struct Demo {
    child: Child,
    log: PathBuf,
}

impl Demo {
    fn start(folder: &Path, name: &str, args: &str) -> Self {
        let command = format!("exec \"$0\" demo {args}");
        Self::through_shell(folder, name, &command)
    }

    /// `$0` in the script is the program.
    fn through_shell(folder: &Path, name: &str, script: &str) -> Self {
        let log = folder.join(name);
        let out = File::create(&log).unwrap();
        let err = File::create(folder.join(format!("{name}.err"))).unwrap();
        let mut shell = Command::new("sh");
        shell.args(["-c", script]).arg(program()).stdin(Stdio::null()).stdout(out).stderr(err);
        Self { child: shell.spawn().unwrap(), log }
    }

    fn said(&self) -> String {
        std::fs::read_to_string(&self.log).unwrap()
    }

    fn ended(&mut self) -> Option<ExitStatus> {
        self.child.try_wait().unwrap()
    }

    /// The first address it prints. A season is made first.
    fn address(&mut self) -> String {
        until_within(300, "an address", || {
            assert_eq!(self.ended(), None, "{}", self.said());
            first_address(&self.said())
        })
    }

    /// Waits for its end: within five seconds and what a busy machine adds to them.
    fn end(&mut self) -> ExitStatus {
        until("the demo ends", || self.ended())
    }
}

impl Drop for Demo {
    fn drop(&mut self) {
        // Already gone is as good as killed.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn first_address(said: &str) -> Option<String> {
    let start = said.find("http://")? + "http://".len();
    let end = said[start..].find('\n')?;
    Some(said[start..start + end].trim_end_matches('/').to_owned())
}

#[test]
fn the_story_is_told_to_its_end_while_the_page_answers() {
    let folder = tempfile::tempdir().unwrap();
    let mut demo = Demo::start(folder.path(), "demo", "--port 0 --speed 20000 --stop-after-story");
    let address = demo.address();
    // No pairing, no password: it is the first thing anybody does.
    let (status, page) = get(&address, "/").unwrap();
    assert_eq!(status, 200);
    assert!(page.contains("<svg"), "the page has its cloth");
    let ended = until_within(300, "the story ends", || demo.ended());
    let said = demo.said();
    assert_eq!(ended.code(), Some(0), "{said}");
    for turn in ["opens", "worsens", "eases", "closes"] {
        assert!(
            said.lines().any(|line| line.contains(&format!("notice {turn}: "))),
            "nothing {turn}:\n{said}"
        );
    }
    // Common practice calls this a heat dome: the warning is heard, and heat is told of at a place.
    assert!(said.contains("(heat-dome, ") && said.contains("(too-hot, "), "{said}");
    assert!(!said.contains("not noted"), "{said}");
}

#[test]
fn two_demos_run_at_once_and_both_stop_when_asked() {
    let folder = tempfile::tempdir().unwrap();
    let mut demos = ["one", "two"].map(|name| Demo::start(folder.path(), name, "--port 0 --speed 60"));
    let addresses = demos.each_mut().map(Demo::address);
    assert_ne!(addresses[0], addresses[1]);
    for address in &addresses {
        assert_eq!(get(address, "/").unwrap().0, 200);
    }
    for (demo, name) in demos.iter_mut().zip(["INT", "TERM"]) {
        signal(demo.child.id(), name);
        assert_eq!(demo.end().code(), Some(0), "{name}: {}", demo.said());
    }
}

#[test]
fn ctrl_c_stops_it_also_when_the_shell_that_started_it_ignores_it() {
    let folder = tempfile::tempdir().unwrap();
    let script = "trap '' INT; exec \"$0\" demo --port 0 --speed 60";
    let mut demo = Demo::through_shell(folder.path(), "demo", script);
    demo.address();
    signal(demo.child.id(), "INT");
    assert_eq!(demo.end().code(), Some(0), "{}", demo.said());
}

#[test]
fn a_speed_that_cannot_be_is_refused() {
    for speed in ["0", "20001", "fast"] {
        let refused = tests::program::run(&["demo", "--speed", speed]);
        assert_eq!(refused.status.code(), Some(2));
        assert!(tests::program::said(&refused).contains("from 1 to 20000"));
    }
}

//! The kernel's own word on its clock.
//!
//! Whoever disciplines the clock tells the kernel, which then knows how far it may be off (adjtimex(2)). Asking needs a
//! call that no crate of ours wraps and that `unsafe_code = "forbid"` keeps us from making. The system's own program
//! makes it for us, whichever time service runs: `timedatectl show` (systemd 239 and later) says `NTPSynchronized=yes`
//! while that estimate is under 16 s. It is a program of its own that may hang on a broken message bus, so it is asked
//! from a task of its own, with a limit, and seldom.

use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use crate::supervise::Outcome;

/// Until it says yes, and afterwards: how long it is good for.
const ASK_EVERY: (Duration, Duration) = (Duration::from_secs(60), Duration::from_secs(600));
/// Who knows.
const PROGRAM: &str = "timedatectl";
/// How often we look whether it has answered, and how many times.
const LOOK: (Duration, u32) = (Duration::from_millis(50), 100);

/// What the kernel said last; no, until it was asked.
pub type Word = Arc<AtomicBool>;

/// Asks now and then, until `wait` says to stop. `wait` waits so long and says whether to go on; `tell` hears each time
/// why it may not be asked from here, or that it may.
///
/// # Errors
///
/// None: where nobody can be asked, the word stays no.
pub fn ask(word: &Word, wait: impl FnMut(Duration) -> bool, tell: impl FnMut(Option<String>)) -> Outcome {
    keep_asking(PROGRAM, word, wait, tell)
}

fn keep_asking(
    program: &str,
    word: &Word,
    mut wait: impl FnMut(Duration) -> bool,
    mut tell: impl FnMut(Option<String>),
) -> Outcome {
    loop {
        let answer = asked(program, &mut wait);
        let yes = answer == Ok(true);
        word.store(yes, Ordering::Relaxed);
        tell(answer.err());
        if !wait(if yes { ASK_EVERY.1 } else { ASK_EVERY.0 }) {
            return Ok(());
        }
    }
}

/// Asks once, for `check`.
///
/// # Errors
///
/// Why it may not be asked from here, in words.
pub fn ask_once() -> Result<bool, String> {
    asked(PROGRAM, &mut |span| {
        std::thread::sleep(span);
        true
    })
}

/// Whether the program says yes; or why it says nothing.
fn asked(program: &str, wait: &mut impl FnMut(Duration) -> bool) -> Result<bool, String> {
    let started = Command::new(program)
        .args(["show", "--property=NTPSynchronized", "--value"])
        // It would speak to the service manager of its own failures, in our name.
        .env_remove("NOTIFY_SOCKET")
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn();
    let mut child = started.map_err(|error| format!("{program}: {error}"))?;
    for _ in 0..LOOK.1 {
        match child.try_wait() {
            Ok(Some(_)) => return said(program, child),
            Ok(None) if wait(LOOK.0) => {}
            Ok(None) => {
                // We are to stop: its answer is of no use any more.
                end(child);
                return Ok(false);
            }
            Err(_) => break,
        }
    }
    end(child);
    Err(format!("{program} did not answer"))
}

fn end(mut child: Child) {
    let _ = child.kill();
    let _ = child.wait();
}

/// What a program that has ended said.
fn said(program: &str, child: Child) -> Result<bool, String> {
    let answer = child.wait_with_output().map_err(|error| format!("{program}: {error}"))?;
    if answer.status.success() {
        return Ok(answer.stdout.trim_ascii() == b"yes");
    }
    let words = String::from_utf8_lossy(&answer.stderr);
    Err(format!("{program}: {}", words.lines().next().map_or("it failed", str::trim)))
}

#[cfg(test)]
mod tests {
    use std::os::unix::fs::PermissionsExt;

    use super::*;

    fn program(folder: &tempfile::TempDir, text: &str) -> String {
        let file = folder.path().join("asked");
        std::fs::write(&file, format!("#!/bin/sh\n{text}\n")).unwrap();
        std::fs::set_permissions(&file, std::fs::Permissions::from_mode(0o755)).unwrap();
        file.to_str().unwrap().to_owned()
    }

    #[test]
    fn only_a_plain_yes_is_a_yes() {
        let folder = tempfile::tempdir().unwrap();
        // Waits really, as the task does: what is waited for is the end of a real program.
        let mut wait = |span| {
            std::thread::sleep(span);
            true
        };
        let right = "[ \"$*\" = 'show --property=NTPSynchronized --value' ] && echo yes";
        for (text, yes) in [(right, true), ("echo no", false), ("true", false)] {
            assert_eq!(asked(&program(&folder, text), &mut wait), Ok(yes), "{text}");
        }
        // What it says of itself where it may not ask the message bus.
        let refused = "echo yes; echo 'Failed to query server: Access denied' >&2; exit 1";
        let why = asked(&program(&folder, refused), &mut wait).unwrap_err();
        assert!(why.ends_with("/asked: Failed to query server: Access denied"), "{why}");
        let why = asked("/nowhere/asked", &mut wait).unwrap_err();
        assert!(why.starts_with("/nowhere/asked: No such file"), "{why}");
    }

    #[test]
    fn u7_that_it_may_not_be_asked_is_told_and_so_is_that_it_may() {
        let folder = tempfile::tempdir().unwrap();
        // Refused at first, as by a sandbox; then not.
        let text =
            "[ -e \"$0.twice\" ] && echo yes && exit; touch \"$0.twice\"; echo 'Access denied' >&2; exit 1";
        let name = program(&folder, text);
        let (word, mut asked, mut told) = (Word::default(), 0, Vec::new());
        let wait = |span: Duration| {
            // The short ones are for the program's end, which is real.
            if span == LOOK.0 {
                std::thread::sleep(span);
                return true;
            }
            asked += 1;
            asked < 2
        };
        keep_asking(&name, &word, wait, |why| told.push(why)).unwrap();
        assert_eq!(told, [Some(format!("{name}: Access denied")), None]);
        assert!(word.load(Ordering::Relaxed));
    }

    #[test]
    fn one_that_hangs_is_ended_and_vouches_for_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let mut looked = 0;
        let yes = asked(&program(&folder, "exec cat < /dev/zero > /dev/null"), &mut |_| {
            looked += 1;
            true
        });
        assert_eq!((yes.is_err(), looked), (true, LOOK.1));
    }
}

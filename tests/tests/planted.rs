//! The faults of `tests/planted`. `tests/planted/run` plants each and waits until the simulator finds it; that takes
//! long, so here only that there is still a place for each in the source.

use std::process::Command;

#[test]
fn every_planted_fault_has_its_place_in_the_source() {
    let root = concat!(env!("CARGO_MANIFEST_DIR"), "/..");
    let folder = std::fs::read_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/planted")).unwrap();
    let patches: Vec<_> = folder
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|extension| extension == "patch"))
        .collect();
    assert_eq!(patches.len(), 10);
    for patch in &patches {
        let tried = Command::new("git").current_dir(root).args(["apply", "--check"]).arg(patch).output();
        match tried {
            Err(_) if std::env::var_os("CI").is_none() => println!("SKIPPED: no git to try the patches with"),
            tried => {
                let tried = tried.expect("git, with CI set");
                let why = String::from_utf8_lossy(&tried.stderr);
                assert!(tried.status.success(), "{}: {why}", patch.display());
            }
        }
    }
}

//! The real program, fed by a real broker, on storage that fails: S5, S6, S9, and P9: it comes back by itself.

use std::fs::File;
use std::io::Write as _;
use std::path::Path;

use glasshour::entry::Note;
use glasshour::ledger::{Commit, NewNote};
use serde_json::json;
use tests::block_disk::{Disk, FOR_LONG, Mounted, Refused, make_ext4, namespace, small_tmpfs};
use tests::program::{post, program, run, said};
use tests::servers::process::until_within;

use super::yard::{Yard, page, page_says};
use super::{DISK_PROCESS, life};

const REFUSES: &str = "Nothing can be stored since";

/// Notes something; whether it was taken.
fn note(address: &str) -> Result<(), String> {
    let remark = json!({ "note": { "what": "remark", "text": "x".repeat(500) } });
    let (status, answer) = post(address, "/api/note", &remark).unwrap();
    if status == 200 { Ok(()) } else { Err(answer) }
}

/// A new ledger has room of its own in file and log (LEDGER finding 4). Here that of the file is used up, so that the
/// rest is used up sooner.
fn use_up_the_file(folder: &Path) {
    let mut ledger = life::open(folder).unwrap();
    let boot = ledger.begin_boot(0, Some((life::JUNE, "test"))).unwrap();
    let note = Note::Remark { text: "x".repeat(500) };
    let notes = vec![NewNote { at_ms: life::JUNE, from_ms: life::JUNE, note }; 2_200];
    ledger.commit(&Commit { notes: &notes, ..Commit::empty(boot, life::JUNE, 0) }).unwrap();
    ledger.checkpoint().unwrap();
}

/// Takes up all the room there is.
pub(super) fn fill_up(path: &Path) {
    let mut ballast = File::create(path).unwrap();
    for size in [65_536, 1_024] {
        while ballast.write_all(&vec![7; size]).is_ok() {}
    }
    // The last block is only refused when it is written out.
    let _ = ballast.sync_all();
}

#[test]
fn on_a_full_disk_the_program_stays_says_so_and_goes_on_when_there_is_room() {
    program();
    if !namespace::enter("program::on_a_full_disk_the_program_stays_says_so_and_goes_on_when_there_is_room") {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let memory = small_tmpfs(&folder.path().join("memory"), 40);
    make_ext4(&memory.path().join("image"), 24, 1024);
    let at = folder.path().join("mount");
    let mounted = Mounted::mount(&memory.path().join("image"), &at, "noatime").unwrap();
    let ledger = at.join("ledger");
    use_up_the_file(&ledger);
    let Some(mut yard) = Yard::new(&ledger) else { return };
    let service = yard.start();
    yard.feed(300);
    yard.all_taken(&service);
    fill_up(&at.join("ballast"));
    let mut notes = 0;
    let refused = (0..20_000).find_map(|_| {
        notes += 1;
        note(service.address()).err()
    });
    assert!(refused.as_ref().is_some_and(|why| why.contains("the disk is full")), "{refused:?}");
    assert!(notes > 100, "the log was not filled beforehand: {notes}");
    page_says(&service, REFUSES);
    page_says(&service, "the disk is full");
    yard.feed(200);
    for _ in 0..20 {
        page(&service);
    }
    std::fs::remove_file(at.join("ballast")).unwrap();
    yard.all_taken(&service);
    assert!(!page(&service).contains(REFUSES));
    note(service.address()).unwrap();
    assert!(service.stop().success(), "{}", yard.garden().log());
    yard.all_kept(&ledger);
    println!("disk full: refused after {notes} notes, nothing lost, no restart");
    drop(mounted);
}

/// A yard on a disk that obeys.
fn on_a_disk(folder: &Path) -> Option<(Disk, Mounted, Yard)> {
    let memory = folder.join("memory");
    std::fs::create_dir(&memory).unwrap();
    make_ext4(&memory.join("image"), 24, 4096);
    let disk = Disk::attach(&memory, DISK_PROCESS);
    let mounted = disk.mount(&folder.join("mount"));
    let yard = Yard::new(&folder.join("mount/ledger"))?;
    Some((disk, mounted, yard))
}

#[test]
fn a_flush_refused_once_is_overcome_without_a_restart() {
    program();
    if !namespace::enter("program::a_flush_refused_once_is_overcome_without_a_restart") {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let Some((disk, mounted, mut yard)) = on_a_disk(folder.path()) else { return };
    let service = yard.start();
    yard.feed(300);
    yard.all_taken(&service);
    disk.refuse(Refused::Flushes(1));
    yard.feed(200);
    yard.all_taken(&service);
    assert_eq!(disk.heal(), 1, "the flush was refused");
    assert!(yard.garden().log().contains("the disk refused"), "{}", yard.garden().log());
    page_says(&service, "The disk refused writes from ");
    yard.feed(100);
    yard.all_taken(&service);
    assert!(service.stop().success(), "{}", yard.garden().log());
    yard.all_kept(&folder.path().join("mount/ledger"));
    drop(mounted);
}

#[test]
fn on_a_file_system_gone_read_only_the_program_stays_and_says_so_and_nothing_is_lost() {
    program();
    let name = "program::on_a_file_system_gone_read_only_the_program_stays_and_says_so_and_nothing_is_lost";
    if !namespace::enter(name) {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let Some((disk, mounted, mut yard)) = on_a_disk(folder.path()) else { return };
    let service = yard.start();
    yard.feed(300);
    yard.all_taken(&service);
    disk.refuse(Refused::Writes(FOR_LONG));
    // The journal is refused as well: the kernel takes the whole file system read-only.
    yard.feed(50);
    let _ = rustix::fs::syncfs(File::open(mounted.path()).unwrap());
    page_says(&service, REFUSES);
    assert!(File::create(mounted.path().join("probe")).is_err(), "it still takes writes");
    note(service.address()).unwrap_err();
    yard.feed(150);
    for _ in 0..20 {
        page(&service);
    }
    disk.heal();
    if mounted.remount("rw").is_ok() && File::create(mounted.path().join("probe")).is_ok() {
        println!("read-only: the kernel took it back while the program ran");
        yard.all_taken(&service);
        service.stop();
    } else {
        println!(
            "read-only: the kernel takes it back only when mounted afresh, so the program is started again"
        );
        page_says(&service, REFUSES);
        // What waits stays with the broker; it says so with its exit code.
        service.stop();
        // What the disk has can be saved from it as it is.
        let (site, saved) = (yard.garden().site_file(), folder.path().join("saved"));
        let paths = [site.to_str().unwrap(), saved.to_str().unwrap()];
        let output = run(&["ledger", "backup", "--site", paths[0], paths[1]]);
        assert!(output.status.success(), "{}", said(&output));
        drop(mounted);
        let mounted = disk.mount(&folder.path().join("mount"));
        let service = yard.start();
        yard.all_taken(&service);
        assert!(service.stop().success(), "{}", yard.garden().log());
        yard.all_kept(&folder.path().join("mount/ledger"));
        drop(mounted);
        return;
    }
    yard.all_kept(&folder.path().join("mount/ledger"));
    drop(mounted);
}

#[test]
fn on_a_slow_card_the_page_answers_and_readings_are_kept() {
    program();
    if !namespace::enter("program::on_a_slow_card_the_page_answers_and_readings_are_kept") {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let Some((disk, mounted, mut yard)) = on_a_disk(folder.path()) else { return };
    let service = yard.start();
    yard.feed(300);
    yard.all_taken(&service);
    let before = disk.moment();
    // S9: one write takes 5 s.
    disk.slow(5_000);
    yard.feed(200);
    until_within(60, "a few slow writes are through", || {
        page(&service);
        (disk.moment() >= before + 3).then_some(())
    });
    disk.slow(0);
    yard.feed(100);
    yard.all_taken(&service);
    assert!(!page(&service).contains(REFUSES));
    assert!(service.stop().success(), "{}", yard.garden().log());
    yard.all_kept(&folder.path().join("mount/ledger"));
    drop(mounted);
}

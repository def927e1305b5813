//! The second process: serves the one file, keeps its history, and does what the test tells it over a socket.
//!
//! It never touches the file system on the disk itself: a process that waits for a disk it serves waits for ever.

use std::ffi::OsStr;
use std::io::{BufRead as _, BufReader, Write as _};
use std::os::unix::net::{UnixListener, UnixStream};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, UNIX_EPOCH};

use fuser::{
    Config, Errno, FileAttr, FileHandle, FileType, Filesystem, FopenFlags, Generation, INodeNo, LockOwner,
    OpenFlags, ReplyAttr, ReplyData, ReplyEmpty, ReplyEntry, ReplyOpen, ReplyWrite, Request, WriteFlags,
};

use super::kept::Kept;
use super::{FOLDER, Flushes};

/// The file that is the disk.
pub(super) const FILE: &str = "disk";
/// Where the test speaks to this process.
pub(super) const SOCKET: &str = "control";

const INODE: INodeNo = INodeNo(2);
/// Nothing but content ever changes, so the kernel may remember.
const REMEMBERED: Duration = Duration::from_secs(3600);

/// Serves a disk if this process was started for it; else returns at once. To be called by a test of each test
/// program that has a disk.
///
/// # Panics
///
/// When it cannot mount.
pub fn serve_if_asked() {
    let Some(folder) = std::env::var_os(FOLDER).map(PathBuf::from) else { return };
    let image = std::fs::read(folder.join("image")).expect("the test made an image");
    let state =
        Arc::new(Mutex::new(State { kept: Kept::new(image), writes: 0, flushes: 0, slow_ms: 0, refused: 0 }));
    let disk = Blocks(Arc::clone(&state));
    let session = fuser::spawn_mount(disk, folder.join("blocks"), &Config::default());
    let _session = session.expect("root may mount");
    let listener = UnixListener::bind(folder.join(SOCKET)).expect("a new socket");
    let (stream, _) = listener.accept().expect("the test connects");
    obey(&stream, &state);
}

/// Answers the test until it hangs up.
fn obey(stream: &UnixStream, state: &Mutex<State>) {
    let mut answers = stream;
    for question in BufReader::new(stream).lines().map_while(Result::ok) {
        let answer = answer(&question, state);
        if writeln!(answers, "{answer}").is_err() {
            return;
        }
    }
}

fn answer(question: &str, state: &Mutex<State>) -> String {
    let mut state = locked(state);
    let words: Vec<&str> = question.split(' ').collect();
    let number = |word: &str| word.parse::<u64>().expect("a number, from ourselves");
    match words.as_slice() {
        ["moment"] => return state.kept.moment().to_string(),
        ["refuse", "writes", count] => state.writes = number(count),
        ["refuse", "flushes", count] => state.flushes = number(count),
        ["slow", ms] => state.slow_ms = number(ms),
        ["heal"] => {
            (state.writes, state.flushes, state.slow_ms) = (0, 0, 0);
            return state.refused.to_string();
        }
        ["cut", moment, flushes, seed, path] => {
            let flushes = match *flushes {
                "honoured" => Flushes::Honoured,
                writes => Flushes::Ignored(number(writes) as usize),
            };
            let image = state.kept.cut(number(moment) as usize, flushes, number(seed));
            std::fs::write(Path::new(path), image).expect("room for an image");
        }
        _ => panic!("the test asks for something unknown: {question}"),
    }
    "done".to_owned()
}

/// The disk and its faults.
#[derive(Debug)]
struct State {
    kept: Kept,
    /// Writes still to be refused.
    writes: u64,
    /// Flushes still to be refused.
    flushes: u64,
    slow_ms: u64,
    /// Requests refused so far.
    refused: u64,
}

fn locked(state: &Mutex<State>) -> MutexGuard<'_, State> {
    state.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Counts one down; whether it was to be refused.
fn refuses(left: &mut u64, refused: &mut u64) -> bool {
    let yes = *left > 0;
    if yes {
        *refused += 1;
        *left -= 1;
    }
    yes
}

#[derive(Debug)]
struct Blocks(Arc<Mutex<State>>);

impl Blocks {
    fn attributes(&self, inode: INodeNo) -> FileAttr {
        let size = if inode == INODE { locked(&self.0).kept.now().len() as u64 } else { 0 };
        FileAttr {
            ino: inode,
            size,
            blocks: size / 512,
            atime: UNIX_EPOCH,
            mtime: UNIX_EPOCH,
            ctime: UNIX_EPOCH,
            crtime: UNIX_EPOCH,
            kind: if inode == INODE { FileType::RegularFile } else { FileType::Directory },
            perm: if inode == INODE { 0o600 } else { 0o700 },
            nlink: 1,
            uid: 0,
            gid: 0,
            rdev: 0,
            blksize: 4096,
            flags: 0,
        }
    }
}

impl Filesystem for Blocks {
    fn lookup(&self, _: &Request, _: INodeNo, name: &OsStr, reply: ReplyEntry) {
        if name == FILE {
            reply.entry(&REMEMBERED, &self.attributes(INODE), Generation(0));
        } else {
            reply.error(Errno::ENOENT);
        }
    }

    fn getattr(&self, _: &Request, inode: INodeNo, _: Option<FileHandle>, reply: ReplyAttr) {
        reply.attr(&REMEMBERED, &self.attributes(inode));
    }

    fn open(&self, _: &Request, _: INodeNo, _: OpenFlags, reply: ReplyOpen) {
        // Without it the kernel would keep what the disk refused, and show it to whoever reads.
        reply.opened(FileHandle(0), FopenFlags::FOPEN_DIRECT_IO);
    }

    fn read(
        &self,
        _: &Request,
        _: INodeNo,
        _: FileHandle,
        offset: u64,
        size: u32,
        _: OpenFlags,
        _: Option<LockOwner>,
        reply: ReplyData,
    ) {
        let state = locked(&self.0);
        let now = state.kept.now();
        let from = (offset as usize).min(now.len());
        reply.data(&now[from..(from + size as usize).min(now.len())]);
    }

    fn write(
        &self,
        _: &Request,
        _: INodeNo,
        _: FileHandle,
        offset: u64,
        data: &[u8],
        _: WriteFlags,
        _: OpenFlags,
        _: Option<LockOwner>,
        reply: ReplyWrite,
    ) {
        let slow_ms = locked(&self.0).slow_ms;
        std::thread::sleep(Duration::from_millis(slow_ms));
        let mut guard = locked(&self.0);
        let state = &mut *guard;
        if refuses(&mut state.writes, &mut state.refused) {
            reply.error(Errno::EIO);
        } else if state.kept.write(offset as usize, data) {
            reply.written(data.len() as u32);
        } else {
            reply.error(Errno::ENOSPC);
        }
    }

    fn flush(&self, _: &Request, _: INodeNo, _: FileHandle, _: LockOwner, reply: ReplyEmpty) {
        // The closing of the file, not a flush of the disk.
        reply.ok();
    }

    fn fsync(&self, _: &Request, _: INodeNo, _: FileHandle, _: bool, reply: ReplyEmpty) {
        let mut guard = locked(&self.0);
        let state = &mut *guard;
        if refuses(&mut state.flushes, &mut state.refused) {
            reply.error(Errno::EIO);
        } else {
            state.kept.flush();
            reply.ok();
        }
    }
}

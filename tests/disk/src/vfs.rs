//! The file system SQLite sees: tables of C functions, each of which hands over to [`Handle`] at once.
//!
//! This is the one place of the workspace where `unsafe` is written: SQLite asks through C. What is relied on is what
//! SQLite promises of the objects it passes ("OS Interface Object", `sqlite3_vfs` and `sqlite3_io_methods`).

#![allow(unsafe_code)]

use std::ffi::{CStr, CString, c_char, c_int, c_void};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError, Weak};

use rusqlite::ffi;

use crate::Inner;
use crate::handle::Handle;
use crate::locks::Level;

/// The longest name of a file.
const LONGEST_NAME: usize = 512;
/// What SQLite's own file system for Unix says: sectors of 4,096 bytes.
const TOLD_SECTOR: c_int = 4_096;
/// Julian day of 1970-01-01T00:00 UTC, ms: day 2,440,587.5.
const EPOCH_JULIAN_MS: i64 = 210_866_760_000_000;

/// An open file as SQLite keeps it: its own part first, then ours.
#[repr(C)]
struct OpenFile {
    base: ffi::sqlite3_file,
    handle: *mut Handle,
}

static METHODS: ffi::sqlite3_io_methods = ffi::sqlite3_io_methods {
    iVersion: 2,
    xClose: Some(close),
    xRead: Some(read),
    xWrite: Some(write),
    xTruncate: Some(truncate),
    xSync: Some(sync),
    xFileSize: Some(file_size),
    xLock: Some(lock),
    xUnlock: Some(unlock),
    xCheckReservedLock: Some(check_reserved_lock),
    xFileControl: Some(file_control),
    xSectorSize: Some(sector_size),
    xDeviceCharacteristics: Some(device_characteristics),
    xShmMap: Some(shm_map),
    xShmLock: Some(shm_lock),
    xShmBarrier: Some(shm_barrier),
    xShmUnmap: Some(shm_unmap),
    xFetch: None,
    xUnfetch: None,
};

/// A file system in SQLite's list. Its entry stays in memory for good, a few hundred bytes: connections keep its
/// address, and they may outlive the disk.
#[derive(Debug)]
pub(crate) struct Registered {
    name: &'static CStr,
    /// Address of the entry; a number, because it is only ever handed back to SQLite.
    entry: usize,
}

impl Registered {
    /// Enters a file system for a disk.
    pub(crate) fn new(inner: &Arc<Inner>) -> Self {
        static NUMBER: AtomicU64 = AtomicU64::new(1);
        let name = format!("simulated-{}", NUMBER.fetch_add(1, Ordering::Relaxed));
        let name: &'static CStr =
            Box::leak(CString::new(name).expect("there is no zero byte in it").into_boxed_c_str());
        let disk: &'static mut Weak<Inner> = Box::leak(Box::new(Arc::downgrade(inner)));
        let entry = Box::leak(Box::new(ffi::sqlite3_vfs {
            iVersion: 2,
            szOsFile: size_of::<OpenFile>() as c_int,
            mxPathname: LONGEST_NAME as c_int,
            pNext: std::ptr::null_mut(),
            zName: name.as_ptr(),
            pAppData: std::ptr::from_mut(disk).cast(),
            xOpen: Some(open),
            xDelete: Some(delete),
            xAccess: Some(access),
            xFullPathname: Some(full_pathname),
            xDlOpen: None,
            xDlError: None,
            xDlSym: None,
            xDlClose: None,
            xRandomness: Some(randomness),
            xSleep: Some(sleep),
            xCurrentTime: Some(current_time),
            xGetLastError: None,
            xCurrentTimeInt64: Some(current_time_ms),
            xSetSystemCall: None,
            xGetSystemCall: None,
            xNextSystemCall: None,
        }));
        let entry: *mut ffi::sqlite3_vfs = entry;
        // SAFETY: the entry and all it points to are never freed, and every function in it is one of this file.
        let code = unsafe { ffi::sqlite3_vfs_register(entry, 0) };
        assert_eq!(code, ffi::SQLITE_OK, "SQLite refuses a file system only when it cannot start at all");
        Self { name, entry: entry.expose_provenance() }
    }

    pub(crate) fn name(&self) -> &CStr {
        self.name
    }
}

impl Drop for Registered {
    fn drop(&mut self) {
        // SAFETY: the address is that of an entry registered above and never freed. Taken off the list, it is found by
        // no new connection; those that have it go on using it.
        unsafe { ffi::sqlite3_vfs_unregister(std::ptr::with_exposed_provenance_mut(self.entry)) };
    }
}

/// See [`Handle::open`].
pub(crate) fn seed_random_numbers(seed: c_int) {
    static ONE_AT_A_TIME: Mutex<()> = Mutex::new(());
    let _alone = ONE_AT_A_TIME.lock().unwrap_or_else(PoisonError::into_inner);
    // SAFETY: the arguments of this control are an int and a connection or null (`sqlite3.c`, its comment). It stores
    // the int and resets the generator under SQLite's own lock; a thread that reseeds at this moment may see the seed
    // before or after, and either is a seed.
    unsafe {
        ffi::sqlite3_test_control(
            ffi::SQLITE_TESTCTRL_PRNG_SEED,
            seed,
            std::ptr::null_mut::<ffi::sqlite3>(),
        );
    }
}

/// The disk of a file system, while there is one.
///
/// # Safety
///
/// `vfs` is an entry made by [`Registered::new`].
unsafe fn disk_of(vfs: *mut ffi::sqlite3_vfs) -> Option<Arc<Inner>> {
    // SAFETY: as the caller promises; what it points to is never freed nor changed.
    unsafe { (*vfs).pAppData.cast::<Weak<Inner>>().as_ref() }.and_then(Weak::upgrade)
}

/// The handle of an open file.
///
/// # Safety
///
/// `file` was opened by [`open`] and is not closed. SQLite uses a file from one thread at a time.
unsafe fn handle<'a>(file: *mut ffi::sqlite3_file) -> &'a mut Handle {
    // SAFETY: `open` put a handle there, `close` takes it away, and in between nobody else has a reference to it.
    unsafe { &mut *(*file.cast::<OpenFile>()).handle }
}

/// A name SQLite passes; none where it passes none, or where it is no text.
///
/// # Safety
///
/// `name` is null or ends with a zero byte and outlives the use.
unsafe fn text<'a>(name: *const c_char) -> Option<&'a str> {
    if name.is_null() {
        return None;
    }
    // SAFETY: as the caller promises.
    unsafe { CStr::from_ptr(name) }.to_str().ok()
}

unsafe extern "C" fn open(
    vfs: *mut ffi::sqlite3_vfs,
    name: ffi::sqlite3_filename,
    file: *mut ffi::sqlite3_file,
    flags: c_int,
    granted: *mut c_int,
) -> c_int {
    // SAFETY: SQLite passes the entry itself, room for szOsFile bytes, a name that lasts until the file is closed, and
    // null or a place for the flags. Without methods it will not call `close`.
    unsafe {
        (*file).pMethods = std::ptr::null();
        let Some(inner) = disk_of(vfs) else { return ffi::SQLITE_CANTOPEN };
        match Handle::open(&inner, text(name), flags) {
            Ok((handle, flags)) => {
                (*file.cast::<OpenFile>()).handle = Box::into_raw(Box::new(handle));
                (*file).pMethods = &raw const METHODS;
                if !granted.is_null() {
                    *granted = flags;
                }
                ffi::SQLITE_OK
            }
            Err(code) => code,
        }
    }
}

unsafe extern "C" fn close(file: *mut ffi::sqlite3_file) -> c_int {
    // SAFETY: SQLite closes each file once, and only those that `open` gave methods, hence a boxed handle.
    unsafe {
        drop(Box::from_raw((*file.cast::<OpenFile>()).handle));
        (*file).pMethods = std::ptr::null();
    }
    ffi::SQLITE_OK
}

unsafe extern "C" fn read(file: *mut ffi::sqlite3_file, into: *mut c_void, count: c_int, offset: i64) -> c_int {
    // SAFETY: SQLite passes `count` bytes of its own to be filled; it initialises its page buffers before.
    unsafe { handle(file).read(std::slice::from_raw_parts_mut(into.cast(), count as usize), offset as u64) }
}

unsafe extern "C" fn write(
    file: *mut ffi::sqlite3_file,
    from: *const c_void,
    count: c_int,
    offset: i64,
) -> c_int {
    // SAFETY: SQLite passes `count` bytes.
    unsafe { handle(file).write(std::slice::from_raw_parts(from.cast(), count as usize), offset as u64) }
}

unsafe extern "C" fn truncate(file: *mut ffi::sqlite3_file, length: i64) -> c_int {
    // SAFETY: an open file.
    unsafe { handle(file) }.truncate(length as u64)
}

unsafe extern "C" fn sync(file: *mut ffi::sqlite3_file, _flags: c_int) -> c_int {
    // SAFETY: an open file.
    unsafe { handle(file) }.flush()
}

unsafe extern "C" fn file_size(file: *mut ffi::sqlite3_file, size: *mut i64) -> c_int {
    // SAFETY: an open file, and a place for its length.
    unsafe {
        match handle(file).length() {
            Ok(length) => {
                *size = length as i64;
                ffi::SQLITE_OK
            }
            Err(code) => code,
        }
    }
}

fn level(code: c_int) -> Level {
    match code {
        ffi::SQLITE_LOCK_NONE => Level::None,
        ffi::SQLITE_LOCK_SHARED => Level::Shared,
        ffi::SQLITE_LOCK_RESERVED => Level::Reserved,
        _ => Level::Exclusive,
    }
}

unsafe extern "C" fn lock(file: *mut ffi::sqlite3_file, code: c_int) -> c_int {
    // SAFETY: an open file.
    unsafe { handle(file) }.lock(level(code))
}

unsafe extern "C" fn unlock(file: *mut ffi::sqlite3_file, code: c_int) -> c_int {
    // SAFETY: an open file.
    unsafe { handle(file) }.unlock(level(code))
}

unsafe extern "C" fn check_reserved_lock(file: *mut ffi::sqlite3_file, answer: *mut c_int) -> c_int {
    // SAFETY: an open file, and a place for the answer.
    unsafe { *answer = c_int::from(handle(file).is_reserved()) };
    ffi::SQLITE_OK
}

unsafe extern "C" fn file_control(file: *mut ffi::sqlite3_file, what: c_int, argument: *mut c_void) -> c_int {
    if what != ffi::SQLITE_FCNTL_PERSIST_WAL {
        return ffi::SQLITE_NOTFOUND;
    }
    // SAFETY: an open file; the argument of this control is an int to be read and written.
    unsafe {
        let wanted = argument.cast::<c_int>();
        *wanted = handle(file).persistent_log(*wanted);
    }
    ffi::SQLITE_OK
}

unsafe extern "C" fn sector_size(_file: *mut ffi::sqlite3_file) -> c_int {
    TOLD_SECTOR
}

unsafe extern "C" fn device_characteristics(_file: *mut ffi::sqlite3_file) -> c_int {
    // What SQLite's own file system for Unix says.
    ffi::SQLITE_IOCAP_POWERSAFE_OVERWRITE | ffi::SQLITE_IOCAP_SUBPAGE_READ
}

unsafe extern "C" fn shm_map(
    file: *mut ffi::sqlite3_file,
    region: c_int,
    bytes: c_int,
    extend: c_int,
    place: *mut *mut c_void,
) -> c_int {
    // SAFETY: an open file and a place for the address. The region lives as long as the index, and the handle keeps
    // that until SQLite unmaps it; it is of atomics, so that several connections may write to it, under SQLite's rules.
    unsafe {
        match handle(file).map_index(region as usize, bytes as usize, extend != 0) {
            Ok(start) => {
                *place = start.cast();
                ffi::SQLITE_OK
            }
            Err(code) => code,
        }
    }
}

unsafe extern "C" fn shm_lock(file: *mut ffi::sqlite3_file, first: c_int, count: c_int, flags: c_int) -> c_int {
    // SAFETY: an open file.
    unsafe { handle(file) }.lock_index(first as usize, count as usize, flags)
}

unsafe extern "C" fn shm_barrier(_file: *mut ffi::sqlite3_file) {
    std::sync::atomic::fence(Ordering::SeqCst);
}

unsafe extern "C" fn shm_unmap(file: *mut ffi::sqlite3_file, _delete: c_int) -> c_int {
    // SAFETY: an open file.
    unsafe { handle(file) }.leave_index();
    ffi::SQLITE_OK
}

unsafe extern "C" fn delete(vfs: *mut ffi::sqlite3_vfs, name: *const c_char, flush: c_int) -> c_int {
    // SAFETY: the entry itself, and a name.
    let (inner, name) = unsafe { (disk_of(vfs), text(name)) };
    let (Some(inner), Some(name)) = (inner, name) else { return ffi::SQLITE_IOERR_DELETE };
    inner.delete(name, flush & 1 != 0)
}

unsafe extern "C" fn access(
    vfs: *mut ffi::sqlite3_vfs,
    name: *const c_char,
    flags: c_int,
    answer: *mut c_int,
) -> c_int {
    // SAFETY: the entry itself, a name, and a place for the answer.
    unsafe {
        let (Some(inner), Some(name)) = (disk_of(vfs), text(name)) else { return ffi::SQLITE_IOERR_ACCESS };
        match inner.access(name, flags) {
            Ok(found) => {
                *answer = c_int::from(found);
                ffi::SQLITE_OK
            }
            Err(code) => code,
        }
    }
}

unsafe extern "C" fn full_pathname(
    _vfs: *mut ffi::sqlite3_vfs,
    name: *const c_char,
    room: c_int,
    into: *mut c_char,
) -> c_int {
    // SAFETY: a name, and `room` bytes for the full one, which is the same here.
    unsafe {
        let bytes = CStr::from_ptr(name).to_bytes_with_nul();
        if bytes.len() > room as usize {
            return ffi::SQLITE_CANTOPEN;
        }
        std::ptr::copy_nonoverlapping(bytes.as_ptr().cast(), into, bytes.len());
    }
    ffi::SQLITE_OK
}

unsafe extern "C" fn randomness(vfs: *mut ffi::sqlite3_vfs, count: c_int, into: *mut c_char) -> c_int {
    // SAFETY: the entry itself, and `count` bytes of SQLite's own, initialised or not: they are set first.
    unsafe {
        std::ptr::write_bytes(into, 0, count as usize);
        if let Some(inner) = disk_of(vfs) {
            let bytes = std::slice::from_raw_parts_mut(into.cast::<u8>(), count as usize);
            inner.state().medium.chance.sqlite.fill(bytes);
        }
    }
    count
}

unsafe extern "C" fn sleep(vfs: *mut ffi::sqlite3_vfs, microseconds: c_int) -> c_int {
    // SAFETY: the entry itself.
    if let Some(inner) = unsafe { disk_of(vfs) } {
        inner.state().wait(microseconds as u64 / 1_000);
    }
    microseconds
}

unsafe extern "C" fn current_time_ms(vfs: *mut ffi::sqlite3_vfs, now: *mut i64) -> c_int {
    // SAFETY: the entry itself, and a place for the time.
    unsafe { *now = EPOCH_JULIAN_MS + disk_of(vfs).map_or(0, |inner| inner.state().now_ms) };
    ffi::SQLITE_OK
}

unsafe extern "C" fn current_time(vfs: *mut ffi::sqlite3_vfs, now: *mut f64) -> c_int {
    let mut ms = 0;
    // SAFETY: the entry itself, and a place for the time, in days.
    unsafe {
        current_time_ms(vfs, &raw mut ms);
        *now = ms as f64 / 86_400_000.0;
    }
    ffi::SQLITE_OK
}

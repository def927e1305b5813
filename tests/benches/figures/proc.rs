//! What the kernel says of a running process (proc(5)).

use std::path::PathBuf;

/// Memory of a process.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Memory {
    /// Resident, bytes.
    pub(crate) resident: u64,
    /// Of it not backed by a file: what it holds for itself.
    pub(crate) own: u64,
    /// The most it was ever resident, bytes.
    pub(crate) most: u64,
}

/// Memory now; noughts once it has ended.
pub(crate) fn memory(pid: u32) -> Memory {
    let text = std::fs::read_to_string(format!("/proc/{pid}/status")).unwrap_or_default();
    let kb = |key: &str| {
        let line = text.lines().find(|line| line.starts_with(key));
        line.and_then(|line| line.split_whitespace().nth(1)).and_then(|kb| kb.parse::<u64>().ok())
    };
    let bytes = |key| kb(key).unwrap_or(0) * 1024;
    Memory { resident: bytes("VmRSS:"), own: bytes("RssAnon:"), most: bytes("VmHWM:") }
}

/// What a process has used of the processors.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Used {
    /// Time on a processor, ms.
    pub(crate) cpu_ms: f64,
    /// How often a thread of it was woken after having waited.
    pub(crate) waits: u64,
}

/// Sums over the threads that live now, from schedstat, which counts nanoseconds; stat counts hundredths of a second.
pub(crate) fn used(pid: u32) -> Used {
    let mut used = Used::default();
    for task in tasks(pid) {
        let read = |name: &str| std::fs::read_to_string(task.join(name)).unwrap_or_default();
        let on_cpu = read("schedstat").split(' ').next().and_then(|ns| ns.parse::<f64>().ok());
        used.cpu_ms += on_cpu.unwrap_or(0.0) / 1e6;
        let status = read("status");
        let line = status.lines().find(|line| line.starts_with("voluntary_ctxt_switches:"));
        let waits = line.and_then(|line| line.split_whitespace().nth(1)).and_then(|count| count.parse().ok());
        used.waits += waits.unwrap_or(0);
    }
    used
}

fn tasks(pid: u32) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(format!("/proc/{pid}/task")).into_iter().flatten();
    entries.filter_map(|entry| entry.ok().map(|entry| entry.path())).collect()
}

//! What Glasshour costs, measured: size, rest, messages, start, replay, archive, wear. Each figure stands beside that of
//! another program doing the nearest work in the same run, because absolute figures belong to a machine and a
//! minute and only their ratio travels.
//!
//! `cargo bench -p tests --bench figures [-- [--quick] [size] [idle] [messages] [start] [replay] [archive] [wear]]`
//!
//! Nothing here can fail for being slow; a peer that is not installed is named and left out.

mod air;
mod archive;
mod garden;
mod http;
mod idle;
mod messages;
mod probe;
mod proc;
mod product;
mod replay;
mod rows;
mod size;
mod start;
mod stopwatch;
mod table;
mod wear;

/// How much is measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Extent {
    /// Short: the figures are rough.
    Quick,
    /// What the tables in DEVELOPERS.md were made with.
    Full,
}

impl Extent {
    /// One of two amounts.
    pub(crate) fn pick<T>(self, quick: T, full: T) -> T {
        match self {
            Self::Quick => quick,
            Self::Full => full,
        }
    }
}

/// A group of figures: its name on the command line, and what measures it.
type Group = (&'static str, fn(Extent));

const GROUPS: [Group; 7] = [
    ("size", size::measure),
    ("idle", idle::measure),
    ("messages", messages::measure),
    ("start", start::measure),
    ("replay", replay::measure),
    ("archive", archive::measure),
    ("wear", wear::measure),
];

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    if arguments.first().is_some_and(|first| first == wear::INSIDE) {
        return wear::inside(&arguments[1..]);
    }
    // Cargo itself adds --bench.
    let known = |word: &str| word == "--quick" || word == "--bench" || GROUPS.iter().any(|it| it.0 == word);
    if let Some(strange) = arguments.iter().find(|word| !known(word)) {
        let names: Vec<&str> = GROUPS.iter().map(|group| group.0).collect();
        eprintln!("{strange} is no group of figures; they are: {}", names.join(", "));
        std::process::exit(2);
    }
    let extent = if arguments.iter().any(|word| word == "--quick") { Extent::Quick } else { Extent::Full };
    let chosen = |name: &str| arguments.iter().any(|word| word == name);
    let all = !GROUPS.iter().any(|group| chosen(group.0));
    println!("{}", stopwatch::conditions());
    for (name, measure) in GROUPS {
        if all || chosen(name) {
            measure(extent);
        }
    }
}

//! `glasshour mirror compare`: what differs between the ledger and its copy, day by day.
//!
//! Exit code 3 says that something differs; with `--send` what the copy lacks is sent again, and a second run tells
//! whether it arrived.

use std::io::Write;

use clap::Subcommand;
use serde_json::json;
use tokio::task::block_in_place;

use super::target::{Target, read_site};
use super::{Trouble, ask, runtime};
use crate::calendar;
use crate::clock::{Clock as _, SystemClock};
use crate::ledger::Reader;
use crate::mirror::compare::{DayCompared, Difference, compare};
use crate::mirror::days::{self, Extent};
use crate::mirror::halving::write_all;
use crate::mirror::pipe::Pipe;
use crate::mirror::points::Point;
use crate::mirror::server::{Refusal, Remote, Settings};
use crate::mirror::shown::Shown;
use crate::mirror::source::POINTS_AT_ONCE;
use crate::service;

/// What is younger than this may still be on its way, ms.
const ON_ITS_WAY_MS: i64 = 10 * 60_000;
/// Differences printed as text; all of them come out as JSON.
const SHOWN: usize = 40;

/// Options of `mirror`.
#[derive(Debug, clap::Args)]
pub(super) struct MirrorArgs {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Counts and lists what differs between the ledger and the copy; exit code 3 when anything does.
    Compare(CompareArgs),
}

/// Options of `mirror compare`.
#[derive(Debug, clap::Args)]
pub(super) struct CompareArgs {
    #[command(flatten)]
    target: Target,
    /// First day; the ledger's first if not given.
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = day)]
    from: Option<i64>,
    /// Last day; the ledger's last if not given.
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = day)]
    to: Option<i64>,
    /// Send what the copy lacks or has otherwise.
    #[arg(long)]
    send: bool,
    /// As JSON.
    #[arg(long)]
    json: bool,
}

fn day(text: &str) -> Result<i64, String> {
    calendar::day(text).ok_or_else(|| "not a date; write 2026-07-15".to_owned())
}

/// Where the ledger's days come from.
enum Book {
    Running(std::path::PathBuf),
    Stopped(Reader),
}

impl Book {
    fn open(target: &Target) -> Result<Self, Trouble> {
        if let Some(socket) = target.socket()? {
            return Ok(Self::Running(socket));
        }
        let ledger = super::ledger::open(&target.data_folder()?)?;
        Ok(Self::Stopped(ledger.reader()?))
    }

    fn extent(&self) -> Result<Extent, Trouble> {
        match self {
            Self::Running(socket) => ask::read(ask::get(socket, "/api/mirror/extent")?),
            Self::Stopped(reader) => Ok(days::extent(reader)?),
        }
    }

    fn points_of(&self, day: i64) -> Result<Vec<Point>, Trouble> {
        match self {
            Self::Running(socket) => ask::read(ask::get(socket, &format!("/api/mirror/day/{day}"))?),
            Self::Stopped(reader) => Ok(days::points_of(reader, day)?),
        }
    }
}

/// What all days came to.
#[derive(Default)]
struct Sum {
    days: u64,
    ledger: usize,
    differences: Vec<Difference>,
    sent: usize,
    set_aside: u64,
}

pub(super) fn run(args: &MirrorArgs, out: &mut impl Write) -> Result<(), Trouble> {
    let What::Compare(args) = &args.what;
    if let (Some(from), Some(to)) = (args.from, args.to)
        && from > to
    {
        let (from, to) = (calendar::date(from), calendar::date(to));
        return Err(Trouble::Given(format!("--from {from} is later than --to {to}")));
    }
    let (site, _) = read_site(&args.target.site)?;
    let settings = service::settings::mirror(&site).map_err(Trouble::Given)?;
    let settings =
        settings.ok_or_else(|| Trouble::Given("the site file has no [mirror] to compare with".to_owned()))?;
    // Only the first call in a process can install it; a second one finds it there.
    let _ = rustls::crypto::ring::default_provider().install_default();
    let book = Book::open(&args.target)?;
    let sum = runtime()?.block_on(compare_days(args, &book, &settings))?;
    tell(&sum, args, out)?;
    if sum.differences.is_empty() { Ok(()) } else { Err(Trouble::Differs) }
}

async fn compare_days(args: &CompareArgs, book: &Book, settings: &Settings) -> Result<Sum, Trouble> {
    let given = |error: crate::mirror::server::Unusable| Trouble::Given(error.to_string());
    let (mut shown, to_read) = Shown::new(settings).map_err(given)?;
    let (remote, to_write) = Remote::new(settings).map_err(given)?;
    let work = async {
        let mut sum = Sum::default();
        // The ledger is asked while nothing else happens here.
        let extent = block_in_place(|| book.extent())?;
        let Some(days) = extent.days.clone() else { return Ok(sum) };
        let now_ms = SystemClock::new(None).wall_ms();
        for day in args.from.unwrap_or(*days.start())..=args.to.unwrap_or(*days.end()) {
            let (start, end) = (extent.start_of(day), extent.start_of(day + 1).min(now_ms - ON_ITS_WAY_MS));
            if end <= start {
                break;
            }
            let mut points = block_in_place(|| book.points_of(day))?;
            points.retain(|point| point.at_ms < end);
            let numbers = shown.numbers(&(start..end)).await;
            let numbers = numbers.map_err(|error| Trouble::Failed(error.to_string()))?;
            let compared = compare(&calendar::date(day), points, &numbers);
            add(&mut sum, compared, args.send.then_some(&remote)).await?;
        }
        Ok(sum)
    };
    tokio::select! {
        sum = work => sum,
        why = carry(to_read) => Err(Trouble::Failed(why)),
        why = carry(to_write) => Err(Trouble::Failed(why)),
    }
}

/// Runs a pipe, where there is one; comes back only when it broke.
async fn carry(pipe: Option<Pipe>) -> String {
    match pipe {
        Some(pipe) => pipe.run().await.err().unwrap_or_default(),
        None => std::future::pending().await,
    }
}

async fn add(sum: &mut Sum, compared: DayCompared, remote: Option<&Remote>) -> Result<(), Trouble> {
    sum.days += 1;
    sum.ledger += compared.ledger;
    if let Some(remote) = remote.filter(|_| !compared.differences.is_empty()) {
        for piece in compared.to_send.chunks(POINTS_AT_ONCE) {
            let aside = write_all(remote, piece.to_vec(), true).await.map_err(|refusal| match refusal {
                Refusal::Points(why)
                | Refusal::Us(why)
                | Refusal::Away(why)
                | Refusal::TooOld { why, .. } => Trouble::Failed(format!("sending to the mirror: {why}")),
            })?;
            sum.sent += piece.len();
            sum.set_aside += aside.iter().map(|aside| aside.count).sum::<u64>();
        }
    }
    sum.differences.extend(compared.differences);
    Ok(())
}

fn tell(sum: &Sum, args: &CompareArgs, out: &mut impl Write) -> Result<(), Trouble> {
    let count = |of: fn(&Difference) -> usize| sum.differences.iter().map(of).sum::<usize>();
    let (missing, other, extra) = (count(|it| it.missing), count(|it| it.other), count(|it| it.extra));
    if args.json {
        let value = json!({
            "schema": "glasshour.mirror_compare.1",
            "days": sum.days,
            "numbers": sum.ledger,
            "missing": missing,
            "other": other,
            "extra": extra,
            "sent": sum.sent,
            "set_aside": sum.set_aside,
            "differences": sum.differences,
        });
        writeln!(out, "{value}")?;
        return Ok(());
    }
    writeln!(out, "{} days, {} numbers in the ledger", sum.days, sum.ledger)?;
    writeln!(out, "missing in the copy {missing}, other values {other}, only in the copy {extra}")?;
    for it in sum.differences.iter().take(SHOWN) {
        let Difference { day, series, missing, other, extra, .. } = it;
        writeln!(out, "{day}  {series}  missing {missing}, other {other}, extra {extra}")?;
    }
    if sum.differences.len() > SHOWN {
        writeln!(out, "and {} more; --json lists all", sum.differences.len() - SHOWN)?;
    }
    if args.send {
        writeln!(out, "sent again {}, of which set aside {}", sum.sent, sum.set_aside)?;
    }
    Ok(())
}

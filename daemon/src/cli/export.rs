//! `glasshour export`: everything reckoned and told, as `replay` prints it; or readings, in a form others read.

use std::io::Write;

use serde_json::Value;

use super::ledger::{counted, name, there};
use super::note::moment_of;
use super::target::{Target, read_site};
use super::{Trouble, ask};
use crate::calendar::{Calendar, day};
use crate::entry::Fenced;
use crate::ledger::{Copied, Pour, may_not_be_written};
use crate::readings_out::{Form, SeriesName, Sheet};

/// Options of `export`.
#[derive(Debug, clap::Args)]
pub(super) struct ExportArgs {
    #[command(flatten)]
    target: Target,
    /// Day pages, planting pages, counts and notices as JSON: what comes out when no other form is asked for.
    #[arg(long, conflicts_with_all = ["csv", "ndjson", "senml", "series", "from", "to"])]
    json: bool,
    /// Readings as a table, one a row.
    #[arg(long, group = "form")]
    csv: bool,
    /// Readings as one JSON object a line.
    #[arg(long, group = "form")]
    ndjson: bool,
    /// Readings as a SenML pack (RFC 8428).
    #[arg(long, group = "form")]
    senml: bool,
    /// Readings of this series only; may be given again. Every series without it.
    #[arg(long, value_name = "PROBE/QUANTITY", requires = "form")]
    series: Vec<SeriesName>,
    /// Readings from this day, or moment, on.
    #[arg(long, value_name = "DATE or TIME", requires = "form")]
    from: Option<String>,
    /// Readings before this day, or moment.
    #[arg(long, value_name = "DATE or TIME", requires = "form")]
    to: Option<String>,
}

pub(super) fn run(args: &ExportArgs, out: &mut impl Write) -> Result<(), Trouble> {
    let forms = [(args.csv, Form::Csv), (args.ndjson, Form::Ndjson), (args.senml, Form::Senml)];
    match forms.iter().find(|(asked, _)| *asked) {
        Some((_, form)) => readings(args, *form, out),
        None => reckoned(args, out),
    }
}

fn reckoned(args: &ExportArgs, out: &mut impl Write) -> Result<(), Trouble> {
    let value = match args.target.socket()? {
        Some(socket) => ask::get(&socket, "/api/export")?,
        None => reckoned_from(&args.target)?,
    };
    writeln!(out, "{value}")?;
    let damaged: Vec<Fenced> = ask::read(value["damaged"].clone())?;
    left_out(&damaged)
}

/// What a ledger says that no service runs on; none is made.
fn reckoned_from(target: &Target) -> Result<Value, Trouble> {
    let file = there(&target.data_folder()?)?;
    // Reckoning begins a boot: on a disk that takes no writes, in a copy.
    let elsewhere = may_not_be_written(&file).then(tempfile::tempdir).transpose()?;
    let mut target = target.clone();
    if let Some(folder) = &elsewhere {
        Copied::open(&file)?.copy_to(&folder.path().join("ledger"))?;
        target.folder = Some(folder.path().to_owned());
    }
    let (mut core, moment, _) = target.open()?;
    while core.remake(1000) {}
    core.name_fences(moment)?;
    Ok(crate::keeper::export::export(core.engine()))
}

fn readings(args: &ExportArgs, form: Form, out: &mut impl Write) -> Result<(), Trouble> {
    let from_ms = args.from.as_deref().map(|text| moment(args, text)).transpose()?;
    let to_ms = args.to.as_deref().map(|text| moment(args, text)).transpose()?;
    let range = from_ms.unwrap_or(0)..to_ms.unwrap_or(i64::MAX);
    if from_ms.zip(to_ms).is_some_and(|(from, to)| from > to) {
        return Err(Trouble::Given("--from is later than --to: nothing lies between".to_owned()));
    }
    if let Some(socket) = args.target.socket()? {
        let mut words = format!("form={}", form.as_str());
        let names: Vec<String> =
            args.series.iter().map(|it| format!("{}/{}", it.probe, it.quantity)).collect();
        if !names.is_empty() {
            words += &format!("&series={}", escaped(&names.join(",")));
        }
        for (key, moment) in [("from_ms", from_ms), ("to_ms", to_ms)] {
            words += &moment.map(|at| format!("&{key}={at}")).unwrap_or_default();
        }
        ask::fetch(&socket, &format!("/api/ledger/readings?{words}"), out)?;
        let lost: Vec<Fenced> = ask::read(ask::get(&socket, &format!("/api/ledger/lost?{words}"))?)?;
        return left_out(&lost);
    }
    let copied = Copied::open(&there(&args.target.data_folder()?)?)?;
    let view = copied.view();
    let series = chosen(&args.series, view.series()?)?;
    let mut pour = Pour::new(series.clone(), range.clone());
    let mut sheet = Sheet::new(form, &copied.name()?);
    out.write_all(sheet.head().as_bytes())?;
    while let Some(readings) = view.pour(&mut pour)? {
        out.write_all(sheet.piece(&readings).as_bytes())?;
    }
    out.write_all(sheet.tail().as_bytes())?;
    let lost = left_out(&view.lost(&series, range)?);
    copied.refuse_without_log()?;
    lost
}

/// What came out is right, and not all there was.
pub(super) fn left_out(lost: &[Fenced]) -> Result<(), Trouble> {
    if lost.is_empty() {
        return Ok(());
    }
    name("left out, damaged", lost);
    let rows = counted(lost.len() as u64, "damaged row was", "damaged rows were");
    Err(Trouble::Failed(format!(
        "{rows} left out; “glasshour ledger mend BACKUP” brings back what a backup has"
    )))
}

type Known = Vec<(String, agronomy::quantity::Quantity)>;

fn chosen(asked: &[SeriesName], known: Known) -> Result<Known, Trouble> {
    if asked.is_empty() {
        return Ok(known);
    }
    let of = |it: &SeriesName| {
        let found = known.iter().find(|(probe, quantity)| *probe == it.probe && *quantity == it.quantity);
        found.cloned().ok_or_else(|| Trouble::Given(format!("{}/{} was never heard", it.probe, it.quantity)))
    };
    asked.iter().map(of).collect()
}

/// A moment as it is given: a day of the site's standard time, or a time with its offset.
fn moment(args: &ExportArgs, text: &str) -> Result<i64, Trouble> {
    if let Some(at_ms) = moment_of(text) {
        return Ok(at_ms);
    }
    let wrong =
        || Trouble::Given(format!("{text:?} is no moment; write 2026-06-01 or 2026-06-01T12:00+02:00"));
    let day = day(text).ok_or_else(wrong)?;
    let offset_s = read_site(&args.target.site)?.0.site.standard_offset_s;
    Ok(Calendar::fixed(i64::from(offset_s) * 1_000).start_of(day))
}

/// Text as it may stand in an address after the question mark.
fn escaped(text: &str) -> String {
    let mut out = String::new();
    for byte in text.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~/,".contains(&byte) {
            out.push(char::from(byte));
        } else {
            out.push_str(&format!("%{byte:02X}"));
        }
    }
    out
}

//! What is said once a note is taken: how many readings it leaves without a place, and whether it looks like a slip.

use std::path::Path;

use super::super::ledger::there;
use super::super::now::glance_of;
use super::super::target::Target;
use super::super::unplaced::{Counter, Hung};
use super::super::{Trouble, ask};
use crate::entry::Note;
use crate::glance::{Glance, ProbeGlance};
use crate::ledger::Copied;

/// More than this for each plant at a time is asked about, L (common practice: a large plant in a heat wave drinks less
/// than 10 L a day).
const MUCH_L: f64 = 50.0;

/// What is to be said of a note that was taken.
///
/// # Errors
///
/// When the service or the ledger cannot be asked.
pub(super) fn words(note: &Note, target: &Target) -> Result<Vec<String>, Trouble> {
    match note {
        Note::Watered { subject, litres } => {
            Ok(much(subject, *litres, &glance_of(target)?).into_iter().collect())
        }
        Note::Hang { probe, .. } => unplaced(probe, target),
        _ => Ok(Vec::new()),
    }
}

/// A question about a great deal of water; none where it is not known for how many plants it was.
fn much(subject: &str, litres: f64, glance: &Glance) -> Option<String> {
    let plantings = glance.plantings.iter().filter(|it| it.planting == subject || it.place == subject);
    let plants: u32 = plantings.map(|it| it.count.unwrap_or(0)).sum();
    let each = litres / f64::from(plants);
    (plants > 0 && each > MUCH_L).then(|| {
        let whole =
            if plants == 1 { "for one plant".to_owned() } else { format!("for each of {plants} plants") };
        format!("that is {each:.0} litres {whole}: is it right? If not, undo it and note it again")
    })
}

fn unplaced(probe: &str, target: &Target) -> Result<Vec<String>, Trouble> {
    let glance = glance_of(target)?;
    let hung = Hung::of(&glance);
    let since_ms = hung.since_ms(probe);
    let mut counter = Counter::new(&hung);
    let heard = glance.probes.iter().find(|it| it.probe == probe && !it.newest.is_empty());
    if let Some(heard) = heard.filter(|_| since_ms > 0) {
        match target.socket()? {
            Some(socket) => ask::fetch(&socket, &address(heard, since_ms), &mut counter)?,
            None => in_ledger(probe, since_ms, &target.data_folder()?, &mut counter)?,
        }
    }
    Ok(counter.unplaced.lines(&hung))
}

/// Where a running service gives out what a probe said before a moment.
fn address(heard: &ProbeGlance, until_ms: i64) -> String {
    let series: Vec<String> =
        heard.newest.iter().map(|(quantity, ..)| format!("{}/{quantity}", heard.probe)).collect();
    format!("/api/ledger/readings?form=ndjson&series={}&to_ms={until_ms}", series.join(","))
}

fn in_ledger(probe: &str, until_ms: i64, folder: &Path, counter: &mut Counter<'_>) -> Result<(), Trouble> {
    let copied = Copied::open(&there(folder)?)?;
    let view = copied.view();
    for (name, quantity) in view.series()?.into_iter().filter(|(name, _)| **name == *probe) {
        for reading in view.readings(&name, quantity, 0..until_ms)? {
            counter.count(probe, reading.at_ms);
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::page::fixtures;

    #[test]
    fn a_great_deal_of_water_for_each_plant_is_asked_about_and_a_good_soaking_is_not() {
        let mut glance = fixtures::calm();
        for planting in &mut glance.plantings {
            planting.count = Some(8);
        }
        let asked = much("tomato-1", 9999.0, &glance).unwrap();
        assert!(asked.contains("1250 litres for each of 8 plants") && asked.contains("undo it"), "{asked}");
        // Three plantings of eight stand in the house.
        assert_eq!(much("house", 1_000.0, &glance), None);
        assert!(much("house", 9_999.0, &glance).is_some());
        assert_eq!(much("tomato-1", 40.0, &glance), None);
        assert_eq!(much("bed", 9_999.0, &glance), None, "nobody knows for how many");
    }
}

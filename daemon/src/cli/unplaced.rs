//! Readings from before a probe was hung: they are kept and count for no place, and nothing draws them. Whoever takes
//! them in, or hangs the probe, is told how many they are and how to place them.

use std::collections::BTreeMap;
use std::io::{self, Write};

use serde_json::{Value, json};

use super::note::moment_of;
use crate::calendar::{Calendar, date};
use crate::glance::Glance;

/// From when each probe hangs anywhere.
pub(super) struct Hung {
    since_ms: BTreeMap<String, i64>,
    calendar: Calendar,
}

impl Hung {
    /// As a glance tells it.
    pub(super) fn of(glance: &Glance) -> Self {
        let since = glance.probes.iter().filter_map(|it| Some((it.probe.clone(), it.hung_since_ms?)));
        Self {
            since_ms: since.collect(),
            calendar: Calendar::fixed(i64::from(glance.standard_offset_s) * 1000),
        }
    }

    /// When a probe was hung first, UTC ms; the end of time where it hangs nowhere.
    pub(super) fn since_ms(&self, probe: &str) -> i64 {
        self.since_ms.get(probe).copied().unwrap_or(i64::MAX)
    }
}

/// Readings of each probe from before it was hung: how many, and when the first was measured, UTC ms.
#[derive(Debug, Default, PartialEq, Eq)]
pub(super) struct Unplaced(BTreeMap<String, (u64, i64)>);

impl Unplaced {
    /// Counts a reading where it lies before its probe was hung.
    pub(super) fn count(&mut self, hung: &Hung, probe: &str, at_ms: i64) {
        if at_ms < hung.since_ms(probe) {
            let (count, first_ms) = self.0.entry(probe.to_owned()).or_insert((0, at_ms));
            (*count, *first_ms) = (*count + 1, at_ms.min(*first_ms));
        }
    }

    /// A line for each probe: how many readings, from which day on, and how they are placed.
    pub(super) fn lines(&self, hung: &Hung) -> Vec<String> {
        let line = |(probe, (count, first_ms)): (&String, &(u64, i64))| {
            let readings = if *count == 1 { "1 reading".to_owned() } else { format!("{count} readings") };
            let from = date(hung.calendar.day_of(*first_ms));
            let when = match hung.since_ms(probe) {
                i64::MAX => "it hangs nowhere yet".to_owned(),
                since => format!("it was hung on {}", date(hung.calendar.day_of(since))),
            };
            format!(
                "{readings} of {probe} count for no place and are not drawn: {when}. If it hung there before, place them with: \
                 glasshour note --at {from} hang {probe} PLACE"
            )
        };
        self.0.iter().map(line).collect()
    }

    pub(super) fn json(&self, hung: &Hung) -> Value {
        let one = |(probe, (count, first_ms)): (&String, &(u64, i64))| json!({ "probe": probe, "readings": count, "from": date(hung.calendar.day_of(*first_ms)) });
        self.0.iter().map(one).collect()
    }
}

/// Counts the readings of a table as it comes: lines of JSON, a reading each.
pub(super) struct Counter<'a> {
    hung: &'a Hung,
    pub(super) unplaced: Unplaced,
    rest: Vec<u8>,
}

impl<'a> Counter<'a> {
    pub(super) fn new(hung: &'a Hung) -> Self {
        Self { hung, unplaced: Unplaced::default(), rest: Vec::new() }
    }

    /// Counts one that did not come as a line.
    pub(super) fn count(&mut self, probe: &str, at_ms: i64) {
        self.unplaced.count(self.hung, probe, at_ms);
    }
}

impl Write for Counter<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.rest.extend_from_slice(bytes);
        while let Some(end) = self.rest.iter().position(|byte| *byte == b'\n') {
            let line: Vec<u8> = self.rest.drain(..=end).collect();
            let reading: Value = serde_json::from_slice(&line)?;
            if let (Some(probe), Some(at_ms)) =
                (reading["probe"].as_str(), reading["time"].as_str().and_then(moment_of))
            {
                self.count(probe, at_ms);
            }
        }
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::page::fixtures;

    /// `date -u -d '2026-05-04' +%s` of GNU coreutils.
    const MAY_4: i64 = 1_777_852_800_000;
    const DAY: i64 = 86_400_000;

    fn hung() -> Hung {
        let mut glance = fixtures::calm();
        // However many entries came since: the glance has the newest only.
        glance.entries.clear();
        for probe in glance.probes.iter_mut().filter(|it| it.probe == "post-1") {
            probe.hung_since_ms = Some(MAY_4);
        }
        Hung::of(&glance)
    }

    #[test]
    fn what_lies_before_the_first_hanging_is_counted_and_the_way_to_place_it_is_said() {
        let hung = hung();
        let mut unplaced = Unplaced::default();
        for (probe, at_ms) in [
            ("post-1", MAY_4 - 3 * DAY),
            ("post-1", MAY_4 - 2 * DAY),
            ("post-1", MAY_4),
            ("bed-7", i64::MAX),
            // It hangs nowhere.
            ("tin-3", MAY_4),
        ] {
            unplaced.count(&hung, probe, at_ms);
        }
        let said = unplaced.lines(&hung);
        assert_eq!(said.len(), 2, "{said:?}");
        for part in
            ["2 readings of post-1", "hung on 2026-05-04", "glasshour note --at 2026-05-01 hang post-1 PLACE"]
        {
            assert!(said[0].contains(part), "no {part:?} in {said:?}");
        }
        assert!(said[1].starts_with("1 reading of tin-3") && said[1].contains("nowhere yet"), "{said:?}");
        assert_eq!(
            unplaced.json(&hung)[0],
            json!({ "probe": "post-1", "readings": 2, "from": "2026-05-01" })
        );
    }

    #[test]
    fn lines_of_json_are_counted_as_they_come_in_whatever_pieces() {
        let hung = hung();
        let mut counter = Counter::new(&hung);
        let text = "{\"time\":\"2026-05-01T10:00:00Z\",\"probe\":\"post-1\"}\n{\"time\":\"2026-05-05T10:00:00Z\",\
                    \"probe\":\"post-1\"}\n";
        for piece in text.as_bytes().chunks(7) {
            counter.write_all(piece).unwrap();
        }
        assert!(counter.unplaced.lines(&hung)[0].starts_with("1 reading of post-1"));
        assert!(counter.write_all(b"no line of JSON\n").is_err());
    }
}

//! A humidity sensor that tops out low: told by nights that another says were damp, and never by dry ones.

use glasshour::entry::{Note, PlaceKind};
use glasshour::keeper::core::Core;

use super::garden::*;

fn two_probes() -> [Note; 3] {
    [place("house", PlaceKind::House), hang("post", "house", 600), hang("ridge", "house", 600)]
}

/// A day of both: 60 % by day, so much by night, of which `post` says a share.
fn a_day(core: &mut Core, day: i64, night_pct: f64, share: f64) {
    for ten in 0..144 {
        let (hour, wavers) = (ten as f64 / 6.0, (ten % 3) as f64 / 10.0);
        let pct = if (8.0..19.0).contains(&hour) { 60.0 } else { night_pct } - wavers;
        let t_c = curve(12.0, 26.0, hour);
        let at = june() + day * DAY + ten * 10 * MINUTE;
        let readings = [
            ("post", AIR, t_c),
            ("post", HUMIDITY, pct * share),
            ("ridge", AIR, t_c + 0.3),
            ("ridge", HUMIDITY, pct),
        ];
        hear(core, at, &readings);
    }
}

#[test]
fn v5_ten_damp_nights_that_never_pass_95_are_told_over_a_restart_until_one_does() {
    let folder = tempfile::tempdir().unwrap();
    let mut core = again(folder.path(), &two_probes(), june());
    for day in 0..12 {
        a_day(&mut core, day, 99.5, 0.92);
        if day == 6 {
            core.flush(moment(june() + 7 * DAY - MINUTE)).unwrap();
            drop(core);
            core = again(folder.path(), &[], june() + 7 * DAY - MINUTE);
        }
    }
    let low = told(&core, "probe-doubtful");
    // The tenth whole night ended on the morning of the eleventh day, which closes at midnight.
    assert_eq!(outline(&low, june()), [(11 * 24 * 60, "opened", "minor")], "{low:?}");
    assert_eq!(low[0].title, "Look at probe post in house: its relative humidity is doubtful.");
    assert!(low[0].text.contains("reads low: in 10 damp nights in a row never over 92 %"), "{low:?}");
    a_day(&mut core, 12, 99.5, 1.0);
    a_day(&mut core, 13, 99.5, 1.0);
    a_day(&mut core, 14, 99.5, 1.0);
    assert_eq!(told(&core, "probe-doubtful").last().unwrap().turn, "closed");
}

#[test]
fn v5_a_dry_summer_says_nothing_of_a_sensor() {
    let mut core = in_memory(&two_probes(), june());
    (0..20).for_each(|day| a_day(&mut core, day, 88.0, 0.95));
    assert!(told(&core, "probe-doubtful").is_empty());
}

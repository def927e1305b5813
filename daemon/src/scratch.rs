use crate::calendar::Calendar;
use crate::entry::*;
use crate::keeper::engine::Engine;
use crate::keeper::grading::*;
use crate::keeper::tracks::Known;
use crate::reading::*;
use crate::site::Site;
use agronomy::quantity::Quantity;
use agronomy::units::{Latitude, Longitude};
use std::sync::Arc;
#[test]
fn tunnel() {
    let dir = "/work/shared/data/it-tunnel-greenhouse-1/";
    let mut rows: Vec<(i64, Heard)> = vec![];
    for (f, q, fmt) in [
        ("Ref_AirTemp.csv", Quantity::AirTemperature, "%d/%m/%Y %H:%M:%S"),
        ("Ref_RH.csv", Quantity::RelativeHumidity, "%Y-%m-%d %H:%M:%S"),
    ] {
        for line in std::fs::read_to_string(format!("{dir}{f}")).unwrap().lines().skip(1) {
            let (v, t) = line.split_once(',').unwrap();
            let t =
                chrono::NaiveDateTime::parse_from_str(t.trim(), fmt).unwrap().and_utc().timestamp_millis()
                    - 3_600_000;
            rows.push((
                t,
                Heard {
                    probe: Arc::from("ref"),
                    quantity: q,
                    value: v.parse::<f64>().ok().filter(|v| v.is_finite()),
                    measured_ms: Some(t),
                    stale: false,
                },
            ));
        }
    }
    rows.sort_by_key(|r| r.0);
    let site = Site {
        name: "t".into(),
        latitude: Latitude::try_new(45.3).unwrap(),
        longitude: Longitude::try_new(11.9).unwrap(),
        calendar: Calendar::fixed(3_600_000),
        book: config::book::crop_book().unwrap(),
    };
    let cal = site.calendar.clone();
    let at = |d: &str| cal.start_of(crate::calendar::day(d).unwrap());
    let start = at("2021-04-30");
    let mut e = Engine::new(site, start);
    let mut id = 0;
    let mut notes = vec![
        (start, Note::Place { place: "tunnel".into(), name: "Tunnel".into(), kind: PlaceKind::House }),
        (
            start,
            Note::Hang {
                probe: "ref".into(),
                place: "tunnel".into(),
                height_m: None,
                shelter: None,
                usual_interval_s: 900,
            },
        ),
    ];
    for y in [2021, 2022] {
        for c in ["tomato", "sweet_pepper", "lettuce"] {
            notes.push((
                at(&format!("{y}-05-01")),
                Note::Planting {
                    planting: format!("{c}-{y}"),
                    crop: c.into(),
                    place: "tunnel".into(),
                    variety: None,
                    count: None,
                    began: Began::PlantedOut,
                },
            ));
            notes.push((at(&format!("{y}-10-31")), Note::End { planting: format!("{c}-{y}") }));
        }
    }
    for (from_ms, note) in notes {
        id += 1;
        e.note(Entry { id, at_ms: start, from_ms, note });
    }
    e.take_dirty();
    let t0 = std::time::Instant::now();
    let mut i = 0;
    let mut told = vec![];
    while i < rows.len() {
        let t = rows[i].0;
        let mut batch = vec![];
        told.extend(e.advance(t));
        let mut local: Vec<Reading> = vec![];
        while i < rows.len() && rows[i].0 == t {
            let r = {
                let tr = e.tracks();
                let known = |p: &str, q: Quantity, at: i64| {
                    local
                        .iter()
                        .find(|r| {
                            &*r.probe == p && r.quantity == q && r.at_ms == at && r.grade() != Grade::Refused
                        })
                        .map_or_else(|| tr.at(p, q, at), |r| Known::Value(r.value))
                };
                grade(
                    &rows[i].1,
                    &Circumstances {
                        arrived_ms: t,
                        trusted: true,
                        under_cover: true,
                        limits: None,
                        known: &known,
                    },
                )
            };
            local.push(r.clone());
            batch.push(r);
            i += 1;
        }
        told.extend(e.apply(&batch));
    }
    println!("{:?}", t0.elapsed());
    let x = crate::keeper::export::export(&e);
    println!("{}", x["readings"]);
    let (mut h32, mut h35, mut int, mut ec, mut tmax, mut vm, mut n) =
        (0.0, 0.0, 0.0, 0.0, f64::MIN, 0.0, 0.0);
    let mut vmax: f64 = 0.0;
    let mut hot40 = std::collections::BTreeSet::new();
    let mut summer = 0;
    for p in x["day_pages"].as_array().unwrap() {
        let g = |v: &serde_json::Value| v.as_f64().unwrap_or(0.0);
        h32 += g(&p["hours_above"]["t_c"]["32"]);
        h35 += g(&p["hours_above"]["t_c"]["35"]);
        int += g(&p["degree_days"]["integral 10/30"]);
        ec += g(&p["degree_days"]["extremes-clipped 10/30"]);
        tmax = tmax.max(g(&p["t_max_c"]));
        vmax = vmax.max(g(&p["vpd_max_kpa"]));
        if let Some(v) = p["vpd_mean_kpa"].as_f64() {
            let w = g(&p["measured_share"]);
            vm += v * w;
            n += w;
        }
        if g(&p["hours_above"]["t_c"]["40"]) >= 3.0 {
            hot40.insert(p["date"].as_str().unwrap().to_owned());
        }
        let d = p["date"].as_str().unwrap();
        if ("06-01".."09-01").contains(&&d[5..]) {
            summer += 1;
        }
    }
    println!(
        "h32 {h32} h35 {h35} int {int} ec {ec} tmax {tmax} vmean {} vmax {vmax} pages {} summer {summer} hot40 {hot40:?}",
        vm / n,
        x["day_pages"].as_array().unwrap().len()
    );
    let mut days = std::collections::BTreeMap::new();
    let mut kinds = std::collections::BTreeMap::new();
    for s in &told {
        *kinds.entry((s.minder.clone(), s.turn as u8)).or_insert(0) += 1;
        if s.push && s.turn != Turn::Closed && (s.minder == "too-hot" || s.minder == "on-course") {
            days.entry(crate::calendar::date(cal.day_of(s.at_ms)))
                .or_insert(vec![])
                .push((s.minder.clone(), s.severity));
        }
    }
    println!("{kinds:?}");
    for d in &hot40 {
        if !days.contains_key(d) {
            println!("MISSED {d}");
        }
    }
    println!("push days {} : {days:?}", days.len());
    for s in told.iter().filter(|s| s.push).take(4) {
        println!("{} | {}", s.title, s.text);
    }
}

//! A clock that nobody vouches for: readings without a time of their own are kept, and bear no date until the
//! clock is trusted. The whole service, in this process, so that the clock can be the test's.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use config::zone::Zones;
use glasshour::clock::{Clock, SystemClock};
use glasshour::service::{Opened, Running, open_core, settings, start};
use tests::program::Garden;
use tests::publisher::Publisher;
use tests::servers::process::until_async;

/// The machine's clock, set wrong by ten years, until somebody vouches for it and sets it right.
#[derive(Debug)]
struct Doubtful {
    clock: SystemClock,
    vouched: AtomicBool,
}

const TEN_YEARS_MS: i64 = 10 * 365 * 86_400_000;

impl Clock for Doubtful {
    fn wall_ms(&self) -> i64 {
        let right = self.vouched.load(Ordering::Relaxed);
        self.clock.wall_ms() - if right { 0 } else { TEN_YEARS_MS }
    }

    fn monotonic_ms(&self) -> i64 {
        self.clock.monotonic_ms()
    }

    fn vouched_by(&self) -> Option<String> {
        self.vouched.load(Ordering::Relaxed).then(|| "the test".to_owned())
    }
}

/// A site of one door with a bare number on it, without a word on its clock.
fn garden() -> Garden {
    Garden::of(|folder| {
        format!(
            "{}\n[ledger]\nfolder = \"{}\"\ncommit_every_s = 0.2\n\n[door]\nlisten = \"127.0.0.1:0\"\n\
             [[door.topic]]\nfilter = \"yard/house\"\nprobe = \"post\"\nusual_interval_s = 60\n\
             bare = {{ quantity = \"air_temperature\", unit = \"°C\" }}\n\n\
             [[start.place]]\nid = \"long\"\nname = \"Long House\"\nkind = \"house\"\n\
             [[start.probe]]\nprobe = \"post\"\nplace = \"long\"\nshelter = \"screened\"\nusual_interval_s = 60\n",
            Garden::head(),
            folder.join("ledger").display()
        )
    })
}

async fn run(garden: &Garden, clock: &Arc<Doubtful>) -> Running {
    let text = std::fs::read_to_string(garden.site_file()).unwrap();
    let book = config::crop_book().unwrap();
    let file = config::read_site(&text, &book, &Zones::system()).unwrap();
    assert!(!file.clock_vouched_by_system);
    let clock: Arc<dyn Clock> = Arc::clone(clock) as Arc<dyn Clock>;
    let opened: Opened = open_core(&file, book, clock.as_ref(), |site, now_ms| {
        settings::start_notes(&file.start, &site.calendar, now_ms)
    })
    .unwrap();
    start(&file, opened, clock).await.unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn readings_of_a_clock_nobody_vouches_for_are_kept_undated_until_somebody_does() {
    let garden = garden();
    let clock = Arc::new(Doubtful { clock: SystemClock::new(None), vouched: AtomicBool::new(false) });
    let Running { tasks, handle, door, .. } = run(&garden, &clock).await;
    let mut probe = Publisher::new("post", door.unwrap().port());
    // The door acknowledges what is on disk.
    probe.publish((0..3).map(|n| ("yard/house".to_owned(), format!("{}", 20 + n)))).await;
    until_async("they are kept without a date", || (handle.now().board.undated == 3).then_some(())).await;
    let glance = handle.now();
    assert_eq!(glance.board.clock_vouched_by, None);
    let export = handle.export().await.unwrap();
    assert_eq!(export["day_pages"], serde_json::json!([]), "nothing stands under a false date");
    let refusal = handle.note(glasshour::entry::Note::Remark { text: "hot".to_owned() }, None).await;
    assert!(refusal.unwrap_err().contains("time"), "a note would bear a false date");

    let before = clock.clock.wall_ms();
    clock.vouched.store(true, Ordering::Relaxed);
    probe.publish([("yard/house".to_owned(), "30".to_owned())]).await;
    until_async("they are dated", || (handle.now().board.undated == 0).then_some(())).await;
    assert_eq!(handle.now().board.clock_vouched_by.as_deref(), Some("the test"));
    let export = handle.export().await.unwrap();
    assert_eq!(export["readings"]["post"]["air_temperature"]["sound"], 4, "{export}");
    let pages = export["day_pages"].as_array().unwrap();
    let calendar = glasshour::calendar::Calendar::fixed(3_600_000);
    let today = glasshour::calendar::date(calendar.day_of(before));
    assert!(pages.iter().any(|page| page["date"] == today.as_str()), "{today}: {pages:?}");
    // Two days where midnight fell into the test.
    assert!(pages.len() <= 2, "{pages:?}");
    handle.note(glasshour::entry::Note::Remark { text: "hot".to_owned() }, None).await.unwrap();
    tasks.stop().cancel();
    tasks.join(Duration::from_secs(10)).await.unwrap();
}

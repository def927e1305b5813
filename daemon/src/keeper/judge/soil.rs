//! The minders of water, soil, light and disease: judged each quarter of an hour, when something was noted, and when they
//! asked to be. The ground changes slowly, and its reckoning costs more than a look at the air.

use agronomy::compost::HeapRule;
use agronomy::crop::Severity;
use agronomy::series::MS_PER_HOUR;

use crate::ground::Place;
use crate::keeper::engine::Engine;
use crate::keeper::moment::Suns;
use crate::minders::bolting;
use crate::minders::book::Book;
use crate::minders::heap::{HEAP, Heap};
use crate::minders::light::{self, LIGHT};
use crate::minders::place_now::PlaceNow;
use crate::minders::pots::{POTS, Pots};
use crate::minders::root_hot::{ROOT_HOT, RootHot};
use crate::minders::seedbed::{SEEDBED, Seedbed};
use crate::minders::signs::{self, SIGNS};
use crate::minders::soil_dry::{SOIL_DRY, SoilDry};
use crate::minders::soil_wet::{self, SOIL_WET};
use crate::minders::word::{Says, Verdict};

/// How often the ground is judged, ms.
const QUARTER_MS: i64 = MS_PER_HOUR / 4;

/// The running state of the minders of the ground of one place.
#[derive(Clone, Debug, Default, PartialEq)]
pub(in crate::keeper) struct SoilMinders {
    pots: Pots,
    seedbed: Seedbed,
    soil_dry: SoilDry,
    root_hot: RootHot,
    heap: Heap,
    /// The quarter of an hour that was judged last, and how much had been noted by then.
    judged: Option<(i64, usize)>,
    /// What stood then: said again in between, since a heat notice says it too.
    stands: Vec<Verdict>,
    due_ms: Option<i64>,
    suns: Suns,
}

impl SoilMinders {
    /// Takes over what was told before a restart.
    pub(in crate::keeper) fn take_over(&mut self, told: impl Fn(&str) -> Option<Severity>) {
        self.pots.take_over(told(POTS));
        self.seedbed.take_over(told(SEEDBED));
        self.soil_dry.take_over(told(SOIL_DRY));
        self.root_hot.take_over(told(ROOT_HOT));
        self.heap.take_over(told(HEAP));
    }

    /// When time alone may change the verdict, UTC ms.
    pub(in crate::keeper) fn wake(&self) -> Option<i64> {
        self.due_ms
    }
}

impl Engine {
    /// Lets the minders of the ground look at a place.
    pub(super) fn judge_soil(
        &self,
        place: &Place,
        now: &PlaceNow<'_>,
        mind: &mut SoilMinders,
        book: &Book,
    ) -> Vec<Verdict> {
        let noted = self.ground.entries.len();
        let quarter = now.now_ms.div_euclid(QUARTER_MS);
        let due = mind.due_ms.is_some_and(|due| due <= now.now_ms);
        let fresh = mind.judged.is_none_or(|(_, before)| before != noted);
        if !due && !fresh && mind.judged.is_some_and(|(judged, _)| judged == quarter) {
            return mind.stands.clone();
        }
        mind.judged = Some((quarter, noted));
        // At the quarter itself, whatever arrives first in it; at the moment where something was noted.
        let at_ms = if due || fresh { now.now_ms } else { quarter * QUARTER_MS };
        let soil = self.soil_now(place, now, at_ms, &mut mind.suns);
        let told = |minder: &str| book.get(&place.id, minder).is_some();
        let calendar = &self.site.calendar;
        let height_m = self.humidity_height_m(&place.id, at_ms);
        let rule = HeapRule::of_book(&self.site.book.global);
        let said = [
            mind.pots.judge(now, &soil, calendar, book.get(&place.id, POTS).map(|open| open.opened_ms)),
            mind.seedbed.judge(now, &soil, calendar, told(SEEDBED)),
            mind.soil_dry.judge(now, &soil, calendar, told(SOIL_DRY)),
            soil_wet::judge(now, soil.rises.as_deref(), at_ms, calendar, told(SOIL_WET)),
            mind.root_hot.judge(now, &soil, calendar, told(ROOT_HOT)),
            mind.heap.judge(now, &soil, rule, told(HEAP)),
            light::judge(now, &soil, told(LIGHT)),
            signs::judge(now, &soil, height_m, told(SIGNS)),
            bolting::judge(now, &soil, told(bolting::BOLTING)),
        ];
        let due = [
            mind.pots.wake(),
            mind.seedbed.wake(),
            mind.soil_dry.wake(),
            mind.root_hot.wake(),
            mind.heap.wake(),
        ];
        mind.due_ms = due.into_iter().flatten().filter(|at| *at > now.now_ms).min();
        let verdicts: Vec<Verdict> = said.into_iter().flatten().collect();
        mind.stands = verdicts.iter().filter(|it| matches!(it.says, Says::Word(_))).cloned().collect();
        verdicts
    }
}

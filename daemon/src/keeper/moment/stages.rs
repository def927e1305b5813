//! The stages of each planting: reckoned once for all that is known, and again when pages or notes have changed.

use std::collections::BTreeMap;
use std::sync::OnceLock;

use agronomy::crop::Stages;

use crate::almanac::stages::{Course, Warmth};
use crate::calendar::Day;
use crate::ground::Planting;
use crate::keeper::engine::Engine;
use crate::minders::place_now::Standing;

/// The courses of the plantings as they were last reckoned.
#[derive(Debug, Default)]
pub(in crate::keeper) struct Courses(OnceLock<BTreeMap<String, Course>>);

impl Courses {
    /// Something they rest on has changed.
    pub(in crate::keeper) fn doubt(&mut self) {
        self.0 = OnceLock::new();
    }
}

impl Engine {
    /// The stages of a planting on a day, by notes, by its place's warmth and by dates; none where its crop is not in
    /// the book.
    pub(in crate::keeper) fn stages(&self, planting: &Planting, day: Day) -> Stages {
        let courses = self.courses.0.get_or_init(|| self.all_courses());
        courses.get(&planting.id).map(|course| course.on(day)).unwrap_or_default()
    }

    /// A planting with its stages and lines of today; none where its crop is not in the book.
    pub(in crate::keeper) fn standing<'a>(&'a self, planting: &'a Planting) -> Option<Standing<'a>> {
        let crop = self.site.crop_of(planting)?;
        let stages = self.stages(planting, self.site.calendar.day_of(self.now_ms()));
        Some(Standing::new(planting, crop, stages, self.site.place_line_c()))
    }

    fn all_courses(&self) -> BTreeMap<String, Course> {
        let course = |planting: &Planting| {
            let crop = self.site.crop_of(planting)?;
            let pages = self.pages_of_place(&planting.place);
            let goes_on = planting.stands_at(self.now_ms());
            let warmth = Warmth { pages: &pages, open: self.open_day(planting), goes_on };
            let course = Course::of(planting, &crop, &self.site.calendar, Some(&warmth));
            Some((planting.id.clone(), course))
        };
        self.ground.plantings.iter().filter_map(course).collect()
    }
}

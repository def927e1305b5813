//! Which signs are looked for at a place, and which of them the weather gives.
//!
//! A rule runs where something stands that gets the disease, by the crop book; grey mould under cover gets everything
//! that stands there. Early blight is not among them: its table is known from memory only.

use agronomy::signs::grey_mould;
use agronomy::signs::infection::Infection;
use agronomy::signs::late_blight::BlightRule;
use agronomy::signs::mildew::{MildewIndex, Pressure};
use agronomy::signs::spider_mite::{self, DAYS};
use agronomy::signs::words::Sign;

use crate::almanac::days_seen::DaySeen;
use crate::calendar::Day;
use crate::entry::PlaceKind;
use crate::minders::place_now::{PlaceNow, Standing};
use crate::minders::soil_now::SoilNow;

/// A wet spell that was long enough is told for so many days: a look is not taken back the next morning (own choice).
const TOLD_DAYS: Day = 3;
/// A rule that was known on none of so many days has no probe to go by.
const LATELY: Day = 6;

/// A rule that was looked at.
pub(super) struct Looked<'a> {
    /// What it is a sign of.
    pub(super) sign: Sign,
    /// What stands there that gets it; where it is met, what it is met for.
    pub(super) who: Vec<&'a Standing<'a>>,
    /// Whether it is met; none where the last day is not known.
    pub(super) met: Option<bool>,
    /// Whether it could be judged at all on one of the last days.
    pub(super) known_lately: bool,
}

/// Looks at a place's closed days up to one.
pub(super) fn look<'a>(now: &'a PlaceNow<'_>, soil: &SoilNow<'_>, last: Day) -> Vec<Looked<'a>> {
    let days = Days { soil, last };
    let gets = |disease: &str| -> Vec<&Standing<'_>> {
        now.standing.iter().filter(|it| it.crop.disorders.iter().any(|of| of.name == disease)).collect()
    };
    let in_the_house = match now.kind {
        PlaceKind::House => now.standing.iter().collect(),
        _ => Vec::new(),
    };
    let (downy, downy_met) = days.downy(&gets("downy_mildew"));
    let looked = [
        (Sign::HuttonPeriod, gets("late_blight"), days.blight()),
        (Sign::MildewPressure, gets("powdery_mildew"), days.mildew()),
        (Sign::GreyMouldNights, in_the_house, days.damp_nights()),
        (Sign::GreyMouldSpell, gets("grey_mould"), days.infected(Infection::GreyMould)),
        (Sign::DownyMildewSpell, downy, downy_met),
        (Sign::SpiderMites, gets("spider_mite_flare"), days.mites()),
    ];
    let looked = looked.into_iter().filter(|(_, who, _)| !who.is_empty());
    looked.map(|(sign, who, met)| Looked { sign, who, met, known_lately: days.known_lately(sign) }).collect()
}

/// The closed days up to one.
struct Days<'a> {
    soil: &'a SoilNow<'a>,
    last: Day,
}

impl Days<'_> {
    fn back(&self, days: Day) -> Option<&DaySeen> {
        self.soil.days.iter().find(|it| it.day == self.last - days).copied()
    }

    fn blight(&self) -> Option<bool> {
        let day = |back| self.back(back).and_then(|it| it.blight);
        day(0).map(|today| BlightRule::Hutton.completed_by(day(1), Some(today)))
    }

    /// By the index over the days at hand; a day that is missing is a day not known.
    fn mildew(&self) -> Option<bool> {
        self.back(0)?.mildew?;
        let mut index = MildewIndex::default();
        for day in self.soil.days.first()?.day..=self.last {
            index.step(self.back(self.last - day).and_then(|seen| seen.mildew));
        }
        Some(index.pressure() == Pressure::High)
    }

    fn damp_nights(&self) -> Option<bool> {
        let night = |back| self.back(back).and_then(|it| it.damp_night);
        if grey_mould::presses([night(2), night(1), night(0)]) {
            return Some(true);
        }
        night(0).map(|_| false)
    }

    fn infected(&self, infection: Infection) -> Option<bool> {
        let cardinals = infection.cardinals();
        let spells = |back| self.back(back).and_then(|it| it.wet_spells.as_ref());
        if (0..TOLD_DAYS).filter_map(spells).flatten().any(|spell| cardinals.met_by(*spell)) {
            return Some(true);
        }
        spells(0).map(|_| false)
    }

    /// Downy mildews are as many as their hosts: of those who get one, those whose own is met; all of them where none is.
    fn downy<'a>(&self, who: &[&'a Standing<'a>]) -> (Vec<&'a Standing<'a>>, Option<bool>) {
        let looked = |it: &&'a Standing<'a>| Some((*it, self.infected(downy_of(&it.crop.key)?)));
        let looked: Vec<_> = who.iter().filter_map(looked).collect();
        let met: Vec<_> = looked.iter().filter(|(_, met)| *met == Some(true)).map(|(it, _)| *it).collect();
        if met.is_empty() {
            let known = looked.first().and_then(|(_, met)| *met);
            return (looked.into_iter().map(|(it, _)| it).collect(), known);
        }
        (met, Some(true))
    }

    fn mites(&self) -> Option<bool> {
        let day = |back| self.back(back).and_then(|it| it.mites);
        let days: [_; DAYS] = std::array::from_fn(|back| day(back as Day));
        day(0).map(|_| spider_mite::presses(days))
    }

    fn known_lately(&self, sign: Sign) -> bool {
        let known = |seen: &DaySeen| match sign {
            Sign::HuttonPeriod | Sign::SmithPeriod => seen.blight.is_some(),
            Sign::MildewPressure => seen.mildew.is_some(),
            Sign::GreyMouldNights => seen.damp_night.is_some(),
            Sign::GreyMouldSpell | Sign::DownyMildewSpell | Sign::TomatoSeverity => seen.wet_spells.is_some(),
            Sign::SpiderMites => seen.mites.is_some(),
        };
        (0..LATELY).filter_map(|back| self.back(back)).any(known)
    }
}

/// The downy mildew of a crop, by its key in the book; none where its temperatures are not known. That of cucumbers lives
/// on melons too (from memory).
fn downy_of(crop: &str) -> Option<Infection> {
    match crop {
        "lettuce" => Some(Infection::DownyMildewOfLettuce),
        "cucumber" | "melon" => Some(Infection::DownyMildewOfCucumber),
        "basil" => Some(Infection::DownyMildewOfBasil),
        _ => None,
    }
}

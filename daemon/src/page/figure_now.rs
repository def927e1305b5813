//! Where the figure of now stands on the cloth: beside the line of now, clear of the words, the tags and the strings.
//!
//! The figure is the largest thing on the drawing, and what happened last stands on the same hours: "13:10 the house
//! passes 40" must not lie beneath it. So all that is written is laid out as boxes on the two narrowest phones, and of
//! the ways the figure can stand the one is taken that touches none of them, or else the fewest.

/// Widths of phones on which nothing may overlap, px: the narrowest, and a common one.
pub(super) const WIDTHS_PX: [f64; 2] = [320.0, 390.0];
/// Distance of the figure from what it hangs on, px.
const GAP_PX: f64 = 12.0;
/// How far it may move away from now, and in which steps, px.
const FURTHEST_PX: i32 = 200;
const STEP_PX: i32 = 5;
/// What overlapping words weigh, what a string that runs through does, each against a pixel away from now.
const WORDS_WEIGH: f64 = 10_000.0;
const STRING_WEIGHS: f64 = 15.0;

/// A box on the drawing, px: across from and to, down from and to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Area {
    pub(super) across: (f64, f64),
    pub(super) down: (f64, f64),
}

impl Area {
    pub(super) fn meets(&self, other: &Self) -> bool {
        self.across.0 < other.across.1
            && other.across.0 < self.across.1
            && self.down.0 < other.down.1
            && other.down.0 < self.down.1
    }
}

/// A line of the figure: its foot below the line of now, its height and its width, px.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Line {
    pub(super) foot: f64,
    pub(super) height: f64,
    pub(super) width: f64,
}

/// What else is on the drawing.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Around {
    /// What is written, on each of [`WIDTHS_PX`].
    pub(super) written: [Vec<Area>; 2],
    /// The strings, %.
    pub(super) strings: Vec<f64>,
    /// First and last px down that a line may take.
    pub(super) within: (f64, f64),
}

/// Where the figure stands: its right end across, %, and the px down that its lines are counted from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Stand {
    pub(super) across: f64,
    pub(super) base: f64,
}

/// The boxes of lines that stand somewhere, on a drawing so wide.
pub(super) fn boxes(stand: Stand, lines: &[Line], width_px: f64) -> Vec<Area> {
    let right = stand.across / 100.0 * width_px - GAP_PX;
    let of = |line: &Line| Area {
        across: (right - line.width, right),
        down: (stand.base + line.foot - line.height, stand.base + line.foot + 4.0),
    };
    lines.iter().map(of).collect()
}

/// The best place for lines beside the line of now, `now` px down: left of the first string, in the cloth, or at the
/// right edge.
pub(super) fn stand(now: f64, lines: &[Line], around: &Around) -> Stand {
    let first = around.strings.iter().copied().reduce(f64::min).unwrap_or(100.0);
    let ways = [first.clamp(50.0, 100.0), 62.0, 100.0];
    let steps = (-FURTHEST_PX / STEP_PX..=FURTHEST_PX / STEP_PX).map(|step| f64::from(step * STEP_PX));
    let stands = steps.flat_map(|away| ways.map(|across| Stand { across, base: now + away }));
    let weighed = stands.filter_map(|stand| Some((weight(stand, now, lines, around)?, stand)));
    let best = weighed.min_by(|a, b| a.0.total_cmp(&b.0));
    best.map_or(Stand { across: 100.0, base: now }, |(_, stand)| stand)
}

/// How much is against a stand; none where a line would leave the drawing.
fn weight(stand: Stand, now: f64, lines: &[Line], around: &Around) -> Option<f64> {
    let mut weight = (stand.base - now).abs();
    for (width_px, written) in WIDTHS_PX.into_iter().zip(&around.written) {
        let own = boxes(stand, lines, width_px);
        let leaves =
            |own: &Area| own.across.0 < 0.0 || own.down.0 < around.within.0 || own.down.1 > around.within.1;
        if own.iter().any(leaves) {
            return None;
        }
        let covers = |written: &&Area| own.iter().any(|own| own.meets(written));
        let crosses = |string: &&f64| {
            let at = **string / 100.0 * width_px;
            own.iter().any(|own| own.across.0 < at && at < own.across.1)
        };
        weight += WORDS_WEIGH * written.iter().filter(covers).count() as f64;
        weight += STRING_WEIGHS * around.strings.iter().filter(crosses).count() as f64;
    }
    Some(weight)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const LINES: [Line; 2] =
        [Line { foot: -8.0, height: 26.0, width: 76.0 }, Line { foot: 17.0, height: 14.0, width: 120.0 }];

    fn clear(stand: Stand, around: &Around) -> bool {
        WIDTHS_PX.iter().zip(&around.written).all(|(width_px, written)| {
            let own = boxes(stand, &LINES, *width_px);
            written.iter().all(|written| own.iter().all(|own| !own.meets(written)))
        })
    }

    fn around(words: &[(f64, f64)]) -> Around {
        let word =
            |(down, width): &(f64, f64)| Area { across: (20.0, 20.0 + width), down: (down - 16.0, *down) };
        let words: Vec<Area> = words.iter().map(word).collect();
        Around { written: [words.clone(), words], strings: vec![69.4, 75.0, 88.9], within: (0.0, 500.0) }
    }

    #[test]
    fn with_nothing_in_the_way_it_stands_at_now_left_of_the_first_string() {
        assert_eq!(stand(200.0, &LINES, &around(&[])), Stand { across: 69.4, base: 200.0 });
    }

    #[test]
    fn words_of_the_same_hour_are_left_free() {
        let words = around(&[(200.0, 185.0), (182.0, 150.0)]);
        let stands = stand(200.0, &LINES, &words);
        assert!(clear(stands, &words) && (stands.base - 200.0).abs() < 60.0, "{stands:?}");
    }

    proptest! {
        #[test]
        fn it_never_lies_on_words_where_the_drawing_has_room(
            words in proptest::collection::vec((30.0f64..480.0, 60.0f64..200.0), 0..6),
            now in 60.0f64..460.0,
        ) {
            let words = around(&words);
            let stands = stand(now, &LINES, &words);
            prop_assert!(clear(stands, &words), "{stands:?}");
        }
    }
}

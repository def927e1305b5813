//! Where the words beside the cloth stand.
//!
//! Words belong to an hour of the day, but two events may fall into the same quarter of an hour. The words then give
//! way, never the knots: those before now move upwards, those after it downwards, and what would end too far from
//! its knot leaves the drawing for the list beneath.

/// What the words are about; the order is that in which they may be dropped, first to go first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Rank {
    /// A limit was cleared.
    Release,
    /// Something was done by hand.
    Act,
    /// The lowest of the night.
    Low,
    /// A limit was passed.
    Limit,
    /// The highest of the day: never dropped.
    Peak,
}

/// Furthest that words may stand from their knot, hours.
const FURTHEST_H: f64 = 1.5;

/// Places words at hours, in hours from the top of the drawing.
///
/// `words` holds the true hour and the rank of each; `now` splits the drawing, `end` is its foot, `line` the height
/// of a line of words. An hour is the foot of the words: they stand on it. `None`: dropped.
pub(crate) fn place(words: &[(f64, Rank)], now: f64, end: f64, line: f64) -> Vec<Option<f64>> {
    let mut kept: Vec<usize> = (0..words.len()).collect();
    kept.sort_by(|&a, &b| words[a].0.total_cmp(&words[b].0).then(a.cmp(&b)));
    let now = now.clamp(0.0, end);
    loop {
        let split = kept.partition_point(|&index| words[index].0 <= now);
        let true_hours: Vec<f64> = kept.iter().map(|&index| words[index].0).collect();
        let mut placed = upper(&true_hours[..split], now, line);
        placed.extend(lower(&true_hours[split..], now, end, line));
        let strays = |at: usize| {
            let too_high = if at < split { line * 0.9 } else { now + line * 0.9 };
            (placed[at] - true_hours[at]).abs() > FURTHEST_H || placed[at] < too_high
        };
        let Some(stray) = (0..kept.len()).find(|&at| strays(at)) else {
            let mut answer = vec![None; words.len()];
            for (&index, &hour) in kept.iter().zip(&placed) {
                answer[index] = Some(hour);
            }
            return answer;
        };
        let part = if stray < split { 0..split } else { split..kept.len() };
        let victim = part.filter(|&at| words[kept[at]].1 != Rank::Peak).min_by_key(|&at| words[kept[at]].1);
        match victim {
            Some(at) => kept.remove(at),
            // Only peaks are left, closer than they can stand: the later one is enough.
            None => kept.remove(stray),
        };
    }
}

/// From now upwards; whatever would leave the top stands on the first line.
fn upper(hours: &[f64], now: f64, line: f64) -> Vec<f64> {
    let mut placed = vec![0.0; hours.len()];
    let mut next = now + line;
    for at in (0..hours.len()).rev() {
        placed[at] = hours[at].max(line).min(next - line);
        next = placed[at];
    }
    placed
}

/// From now downwards, pushed back up from the end where there is no room.
fn lower(hours: &[f64], now: f64, end: f64, line: f64) -> Vec<f64> {
    let mut placed = Vec::with_capacity(hours.len());
    let mut previous = now;
    for &hour in hours {
        previous = hour.max(previous + line);
        placed.push(previous);
    }
    let mut next = end + line;
    for hour in placed.iter_mut().rev() {
        *hour = hour.min(next - line);
        next = *hour;
    }
    placed
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const LINE: f64 = 0.9;

    #[test]
    fn words_that_have_room_stand_at_their_own_hour() {
        let words = [(2.0, Rank::Low), (6.0, Rank::Act), (12.0, Rank::Peak)];
        assert_eq!(place(&words, 9.0, 24.0, LINE), vec![Some(2.0), Some(6.0), Some(12.0)]);
    }

    #[test]
    fn before_now_words_give_way_upwards_and_after_it_downwards() {
        let words = [(8.5, Rank::Limit), (8.8, Rank::Limit), (9.2, Rank::Limit), (9.4, Rank::Peak)];
        let placed: Vec<f64> = place(&words, 9.0, 24.0, LINE).into_iter().map(Option::unwrap).collect();
        assert!((placed[1] - 8.8).abs() < 1e-9 && (placed[0] - 7.9).abs() < 1e-9, "{placed:?}");
        assert!((placed[2] - 9.9).abs() < 1e-9 && (placed[3] - 10.8).abs() < 1e-9, "{placed:?}");
    }

    #[test]
    fn at_the_foot_words_are_pushed_back_up() {
        let words = [(23.9, Rank::Release), (24.0, Rank::Low)];
        assert_eq!(place(&words, 9.0, 24.0, 1.0), vec![Some(23.0), Some(24.0)]);
    }

    #[test]
    fn releases_go_first_and_a_peak_never_goes() {
        let mut words =
            vec![(12.0, Rank::Limit), (12.1, Rank::Release), (12.2, Rank::Peak), (12.3, Rank::Act)];
        let placed = place(&words, 11.5, 24.0, LINE);
        assert_eq!(placed[1], None, "{placed:?}");
        assert!(placed[0].is_some() && placed[2].is_some() && placed[3].is_none(), "{placed:?}");
        words.push((12.0, Rank::Low));
        assert!(place(&words, 11.5, 24.0, LINE)[2].is_some());
    }

    fn ranks() -> impl Strategy<Value = Rank> {
        prop_oneof![
            Just(Rank::Release),
            Just(Rank::Act),
            Just(Rank::Low),
            Just(Rank::Limit),
            Just(Rank::Peak)
        ]
    }

    proptest! {
        #[test]
        fn placed_words_never_overlap_never_cross_now_and_never_stray(
            words in proptest::collection::vec((0.0f64..24.0, ranks()), 0..14),
            now in 0.0f64..24.0,
        ) {
            let placed = place(&words, now, 24.0, LINE);
            let mut standing: Vec<(f64, f64)> =
                words.iter().zip(&placed).filter_map(|(word, at)| at.map(|at| (word.0, at))).collect();
            standing.sort_by(|a, b| a.1.total_cmp(&b.1));
            for pair in standing.windows(2) {
                prop_assert!(pair[1].1 - pair[0].1 > LINE - 1e-9);
            }
            for (hour, at) in standing {
                prop_assert!((hour - at).abs() <= FURTHEST_H + 1e-9);
                prop_assert!(at <= 24.0 + 1e-9);
                prop_assert!(hour > now || at <= now + 1e-9);
            }
        }
    }
}

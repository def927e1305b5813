//! The nearest of some known words, for "write … instead".

/// Most words that are offered instead of one.
const MOST: usize = 3;

/// The known word closest to what was written, if one is close enough to be meant.
///
/// Close means: at most a third of the letters differ, and at least one difference is always forgiven.
/// A swap of neighbours counts as one difference, because it is the commonest slip of the hand.
pub fn nearest<'w>(written: &str, known: impl IntoIterator<Item = &'w str>) -> Option<&'w str> {
    let written = folded(written);
    known
        .into_iter()
        .map(|word| (distance(&written, &folded(word)), word))
        .min()
        .filter(|(away, word)| *away <= 1.max(word.chars().count() / 3))
        .map(|(_, word)| word)
}

/// What may have been meant: the [nearest] word, or else all that hold every part of what was written, as `sweet_pepper`
/// holds `peppers`; as `hot_pepper or sweet_pepper`. None where no word is close.
pub fn instead<'w>(written: &str, known: impl IntoIterator<Item = &'w str> + Clone) -> Option<String> {
    if let Some(word) = nearest(written, known.clone()) {
        return Some(word.to_owned());
    }
    let parts = |word: &str| -> Vec<String> {
        let word: String = folded(word).into_iter().collect();
        word.split('_').filter(|part| !part.is_empty()).map(str::to_owned).collect()
    };
    let wanted = parts(written);
    let holds = |word: &&str| {
        let parts = parts(word);
        wanted.iter().all(|part| nearest(part, parts.iter().map(String::as_str)).is_some())
    };
    let found: Vec<&str> = known.into_iter().filter(|word| !wanted.is_empty() && holds(word)).collect();
    (1..=MOST).contains(&found.len()).then(|| found.join(" or "))
}

/// Letters compare without case, and the ways of joining words count as one.
fn folded(word: &str) -> Vec<char> {
    // A word longer than any known one is cut: it cannot be close, and the table grows with its length.
    word.chars()
        .take(64)
        .flat_map(char::to_lowercase)
        .map(|c| if c == '-' || c == ' ' { '_' } else { c })
        .collect()
}

/// Differences between two words: letters put in, left out, changed, or swapped with a neighbour
/// (optimal string alignment).
fn distance(a: &[char], b: &[char]) -> usize {
    let mut rows = vec![vec![0; b.len() + 1]; a.len() + 1];
    for (i, row) in rows.iter_mut().enumerate() {
        row[0] = i;
    }
    rows[0] = (0..=b.len()).collect();
    for i in 1..=a.len() {
        for j in 1..=b.len() {
            let changed = rows[i - 1][j - 1] + usize::from(a[i - 1] != b[j - 1]);
            let mut best = changed.min(rows[i - 1][j] + 1).min(rows[i][j - 1] + 1);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                best = best.min(rows[i - 2][j - 2] + 1);
            }
            rows[i][j] = best;
        }
    }
    rows[a.len()][b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_of_the_hand_finds_its_word_and_a_stranger_finds_none() {
        let known = ["name", "latitude", "longitude", "altitude_m"];
        assert_eq!(nearest("nmae", known), Some("name"));
        assert_eq!(nearest("Latitude", known), Some("latitude"));
        assert_eq!(nearest("altitude-m", known), Some("altitude_m"));
        assert_eq!(nearest("colour", known), None);
        assert_eq!(nearest("", known), None);
    }

    #[test]
    fn a_part_of_a_longer_word_finds_all_that_hold_it() {
        let known =
            ["bean_green", "bean_runner", "hot_pepper", "lettuce", "sweet_pepper", "tomato", "tomato_cherry"];
        let instead = |written| instead(written, known);
        assert_eq!(instead("pepper").as_deref(), Some("hot_pepper or sweet_pepper"));
        assert_eq!(instead("Peppers").as_deref(), Some("hot_pepper or sweet_pepper"));
        assert_eq!(instead("cherry tomatoes").as_deref(), Some("tomato_cherry"));
        assert_eq!(instead("green-bean").as_deref(), Some("bean_green"));
        assert_eq!(instead("tomatoe").as_deref(), Some("tomato"));
        assert_eq!((instead("okra"), instead(""), instead("_")), (None, None, None));
    }
}

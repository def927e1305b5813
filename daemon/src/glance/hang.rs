//! A probe is hung once more: what is not told of it stays as it was noted.

use config::ground::Shelter;

use super::Glance;
use crate::entry::Note;

/// The usual interval of a probe that never hung and of which none is told, s.
const NEW_S: u32 = 60;

/// What is told of how a probe hangs.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct HangTold {
    /// Its usual interval, s.
    pub every_s: Option<u32>,
    /// Height above ground, m.
    pub height_m: Option<f64>,
    /// How it is sheltered.
    pub shelter: Option<String>,
}

impl Glance {
    /// The note that a probe hangs at a place. What is not told is as it is by now: the interval wherever it hangs, height
    /// and shelter where it stays in its place. In another nobody knows them, and a new probe speaks each minute.
    pub fn hang(&self, probe: &str, place: &str, told: HangTold) -> Note {
        let now = self.probes.iter().find(|it| it.probe == probe);
        let here = now.filter(|it| it.place.as_deref() == Some(place));
        // Older entries say the shelter in the grower's words, which no new one may.
        let a_word = |shelter: &String| Shelter::WORDS.iter().any(|(word, _)| word == shelter);
        let shelter = || here.and_then(|it| it.shelter.clone()).filter(a_word);
        Note::Hang {
            probe: probe.to_owned(),
            place: place.to_owned(),
            height_m: told.height_m.or_else(|| here.and_then(|it| it.height_m)),
            shelter: told.shelter.or_else(shelter),
            usual_interval_s: told.every_s.or_else(|| now?.usual_interval_s).unwrap_or(NEW_S),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::page::fixtures;

    #[test]
    fn what_is_not_told_of_a_probe_that_is_hung_once_more_stays_as_it_was() {
        let mut glance = fixtures::calm();
        let at = glance.probes.iter().position(|it| it.probe == "post-1").unwrap();
        let post = &mut glance.probes[at];
        (post.usual_interval_s, post.height_m) = (Some(300), Some(1.4));
        post.shelter = Some("screened".to_owned());
        let here = post.place.clone().unwrap();
        let hung = |glance: &Glance, probe: &str, place: &str, told| match glance.hang(probe, place, told) {
            Note::Hang { height_m, shelter, usual_interval_s, .. } => (usual_interval_s, height_m, shelter),
            note => panic!("{note:?}"),
        };
        let screened = Some("screened".to_owned());
        let nothing = HangTold::default;
        assert_eq!(hung(&glance, "post-1", &here, nothing()), (300, Some(1.4), screened.clone()));
        assert_eq!(hung(&glance, "post-1", "elsewhere", nothing()), (300, None, None), "another place");
        assert_eq!(hung(&glance, "nobody", &here, nothing()), (60, None, None), "a new one");
        let told = HangTold { every_s: Some(30), height_m: Some(2.0), shelter: Some("open".to_owned()) };
        assert_eq!(hung(&glance, "post-1", &here, told), (30, Some(2.0), Some("open".to_owned())));
        glance.probes[at].shelter = Some("under the roof".to_owned());
        assert_eq!(hung(&glance, "post-1", &here, nothing()), (300, Some(1.4), None), "no word any more");
    }
}

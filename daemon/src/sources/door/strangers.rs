//! Messages nobody asked for: told by name at first, then only counted.

use std::collections::BTreeSet;

/// So many different complaints are told word for word.
const NAMED: usize = 20;

/// What came that no rule meets, or that its sender may not say.
#[derive(Debug, Default)]
pub(super) struct Strangers {
    named: BTreeSet<String>,
    count: u64,
}

impl Strangers {
    /// Counts one; gives the sentence to tell, if there is one: the first 20 different ones as they are, and
    /// the count each time it reaches a power of ten from 100 on.
    pub(super) fn met(&mut self, complaint: String) -> Option<String> {
        self.count += 1;
        if self.named.len() < NAMED && self.named.insert(complaint.clone()) {
            return Some(complaint);
        }
        let round = self.count >= 100 && 10_u64.checked_pow(self.count.ilog10()) == Some(self.count);
        round.then(|| format!("{} messages so far that no rule takes, the last: {complaint}", self.count))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn twenty_are_named_once_and_the_rest_counted() {
        let mut strangers = Strangers::default();
        let told: Vec<_> = (0..5_000).filter_map(|n| strangers.met(format!("topic {}", n % 300))).collect();
        let named: Vec<_> = (0..20).map(|n| format!("topic {n}")).collect();
        assert_eq!(told[..20], named);
        assert_eq!(told.len(), 22);
        assert!(told[20].starts_with("100 messages") && told[21].starts_with("1000 messages"), "{told:?}");
    }
}

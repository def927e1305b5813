//! A failure made shorter: by halves, as many faults are left out as it can fail without.

use agronomy::crop::CropBook;

use crate::{Failure, Plan, run};

/// Leaves out faults while the same invariant still breaks; at most `tries` runs.
pub fn shrink(failure: &Failure, book: &CropBook, tries: u32) -> Failure {
    let mut best = failure.clone();
    let mut left = tries;
    let mut size = best.plan.faults.len().div_ceil(2);
    while size > 0 {
        let mut from = 0;
        while from < best.plan.faults.len() {
            if left == 0 {
                return best;
            }
            left -= 1;
            let mut plan: Plan = best.plan.clone();
            let until = (from + size).min(plan.faults.len());
            plan.faults.drain(from..until);
            match run(&plan, book) {
                Err(shorter) if shorter.violation.invariant == best.violation.invariant => best = *shorter,
                _ => from += size,
            }
        }
        if size == 1 {
            break;
        }
        size = size.div_ceil(2);
    }
    best
}

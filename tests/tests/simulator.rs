//! The seeded simulator: the real keeper, ledger, minders and couriers in an invented world where everything breaks.
//!
//! `GLASSHOUR_SEED` runs one seed, and prints what it stands for; `GLASSHOUR_SEARCH_SECONDS` says how long seeds are
//! searched (two minutes unless said otherwise), from `GLASSHOUR_FIRST_SEED` on.

#[test]
fn simulator_keeps_every_promise_from_one_seed_to_the_next() {
    let book = config::crop_book().unwrap();
    let first: u64 = std::env::var("GLASSHOUR_FIRST_SEED").ok().and_then(|it| it.parse().ok()).unwrap_or(1);
    for seed in first..first + 200 {
        let plan = simulator::Plan::draw(seed);
        match simulator::run(&plan, &book) {
            Ok(report) => println!("seed {seed}: {} steps, {:.1} days\n{}", report.steps, report.days, report.counts),
            Err(failure) => {
                let failure = if std::env::var_os("NOSHRINK").is_some() { *failure } else { simulator::shrink(&failure, &book, 40) };
                println!("{failure}");
            }
        }
    }
}

//! What a grower's figures mean: air and its dryness, degree days, the sun, heat on people.
//!
//! Everything here is a pure function of its arguments. Nothing reads a clock, a file or a socket, and nothing panics: a
//! value that cannot be is refused when its type is made ([`units`]), and a question that has no answer gives an error
//! value or `None`.
//!
//! What runs for every reading or every day allocates nothing. Three kinds of work do: learning from a whole record
//! (excess heat's threshold sorts its days, [`series::fill`] makes a new series), anything that ends in a sentence, and
//! the crop book with its own figures. No test counts allocations, because a counting allocator is unsafe code, which
//! the workspace forbids.
//!
//! Transcendental functions come from `libm`, so that a season reckoned on a small board and on a desk
//! machine has the same bytes.

pub mod compost;
pub mod crop;
pub mod day_sums;
pub mod degree_days;
pub mod heat_stress;
pub mod heat_waves;
pub mod people;
pub mod quantity;
pub mod series;
pub mod signs;
pub mod sun;
pub mod units;
pub mod vapour;
pub mod water;

pub mod bolting;
pub mod chill;
pub mod germination;
pub mod light;
pub mod own_estimate;

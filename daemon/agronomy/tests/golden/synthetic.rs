//! The columns of degree_days_synthetic.csv, for the tests of the crate and of the command.

use agronomy::degree_days::{Cutoff, Method};

/// Columns of the synthetic table, by the names README of the tables gives them. Its floored intermediate cutoffs
/// are in `degree_days_readings.rs`; McVicker's four cases are no method of ours.
pub(crate) const COLUMNS: [(&str, Method, bool, Cutoff); 19] = [
    ("simple_avg", Method::Mean, false, Cutoff::Horizontal),
    ("simple_avg_mean_capped", Method::MeanCapped, true, Cutoff::Horizontal),
    ("avg_clipped_extremes", Method::ExtremesClipped, true, Cutoff::Horizontal),
    ("single_triangle_none", Method::SingleTriangle, false, Cutoff::Horizontal),
    ("single_triangle_horizontal", Method::SingleTriangle, true, Cutoff::Horizontal),
    ("single_triangle_intermediate", Method::SingleTriangle, true, Cutoff::Intermediate),
    ("single_triangle_vertical", Method::SingleTriangle, true, Cutoff::Vertical),
    ("double_triangle_none", Method::DoubleTriangle, false, Cutoff::Horizontal),
    ("double_triangle_horizontal", Method::DoubleTriangle, true, Cutoff::Horizontal),
    ("double_triangle_intermediate", Method::DoubleTriangle, true, Cutoff::Intermediate),
    ("double_triangle_vertical", Method::DoubleTriangle, true, Cutoff::Vertical),
    ("single_sine_none", Method::SingleSine, false, Cutoff::Horizontal),
    ("single_sine_horizontal", Method::SingleSine, true, Cutoff::Horizontal),
    ("single_sine_intermediate", Method::SingleSine, true, Cutoff::Intermediate),
    ("single_sine_vertical", Method::SingleSine, true, Cutoff::Vertical),
    ("double_sine_none", Method::DoubleSine, false, Cutoff::Horizontal),
    ("double_sine_horizontal", Method::DoubleSine, true, Cutoff::Horizontal),
    ("double_sine_intermediate", Method::DoubleSine, true, Cutoff::Intermediate),
    ("double_sine_vertical", Method::DoubleSine, true, Cutoff::Vertical),
];

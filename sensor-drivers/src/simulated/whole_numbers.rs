//! The compensation of the BME280 class in whole numbers, and the way back from air to words.
//!
//! The simulated chip uses the whole-number form and the driver the floating-point one, so the two
//! check each other. Both are held against the reference table.
//!
//! Source: BME280 datasheet, section on the compensation formulae (32-bit temperature and humidity,
//! 64-bit pressure), from memory. Right shifts of negative numbers round down, as there; everything
//! is reckoned in 128 bits, wherefore no constants can overflow it.

use crate::bme280::Calibration;

/// The temperature word's fine temperature [1/5120 °C].
pub(super) fn fine_temperature(c: &Calibration, word: u32) -> i128 {
    let (word, t1) = (i128::from(word), i128::from(c.t1));
    let straight = (((word >> 3) - (t1 << 1)) * i128::from(c.t2)) >> 11;
    let bent = (word >> 4) - t1;
    straight + ((((bent * bent) >> 12) * i128::from(c.t3)) >> 14)
}

/// Pressure [1/256 Pa]; 0 for constants that would divide by nothing.
pub(super) fn pascal_256(c: &Calibration, word: u32, fine: i128) -> i128 {
    let [p2, p3, p4, p5] = [c.p2, c.p3, c.p4, c.p5].map(i128::from);
    let [p6, p7, p8, p9] = [c.p6, c.p7, c.p8, c.p9].map(i128::from);
    let warm = fine - 128000;
    let offset = warm * warm * p6 + ((warm * p5) << 17) + (p4 << 35);
    let slope = ((warm * warm * p3) >> 8) + ((warm * p2) << 12);
    let slope = (((1 << 47) + slope) * i128::from(c.p1)) >> 33;
    if slope == 0 {
        return 0;
    }
    let first = (((1_048_576 - i128::from(word)) << 31) - offset) * 3125 / slope;
    let square = (p9 * (first >> 13) * (first >> 13)) >> 25;
    ((first + square + ((p8 * first) >> 19)) >> 8) + (p7 << 4)
}

/// Relative humidity [1/4194304 %], not yet clipped to 0 to 100 % and shifted right by 12.
///
/// The chip's elements know no clipping: a word for 0 % is the one where this is 0.
pub(super) fn percent_unclipped(c: &Calibration, word: u16, fine: i128) -> i128 {
    let [h1, h3] = [c.h1, c.h3].map(i128::from);
    let [h2, h4, h5] = [c.h2, c.h4, c.h5].map(i128::from);
    let h6 = i128::from(c.h6);
    let warm = fine - 76800;
    let straight = ((i128::from(word) << 14) - (h4 << 20) - h5 * warm + 16384) >> 15;
    let slope = ((((warm * h6) >> 10) * (((warm * h3) >> 11) + 32768)) >> 10) + 2_097_152;
    let wet = straight * ((slope * h2 + 8192) >> 14);
    wet - (((((wet >> 15) * (wet >> 15)) >> 7) * h1) >> 4)
}

/// Of the words 0, step, 2·step … below `end`, the one whose `value` comes nearest to `wanted`.
///
/// `value` must not fall as the word grows, and is asked about 18 times.
pub(super) fn nearest_word(end: u32, step: u32, wanted: f64, value: impl Fn(u32) -> f64) -> u32 {
    let (mut low, mut high) = (0, end / step - 1);
    while low < high {
        let middle = low + (high - low) / 2;
        if value(middle * step) < wanted {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    let above = low * step;
    let below = above.saturating_sub(step);
    if wanted - value(below) < value(above) - wanted { below } else { above }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bme280::table;

    #[test]
    fn every_row_of_the_reference_table_comes_out_in_whole_numbers() {
        for row in table() {
            let (c, word): (_, u32) = (row.calibration(), row.number(1));
            let fine = fine_temperature(&c, word);
            assert_eq!(fine, row.number::<i128>(4), "{word}");
            assert_eq!((fine * 5 + 128) >> 8, row.number::<i128>(5), "{word}");
            assert_eq!(pascal_256(&c, row.number(2), fine), row.number::<i128>(7), "{word}");
            let percent_1024 = percent_unclipped(&c, row.number(3), fine).clamp(0, 419_430_400) >> 12;
            assert_eq!(percent_1024, row.number::<i128>(11), "{word}");
        }
    }

    #[test]
    fn the_nearest_word_is_found_between_and_beyond_the_ends() {
        let double = |word: u32| f64::from(word) * 2.0;
        for (wanted, word) in [(-5.0, 0), (0.0, 0), (6.9, 4), (10.1, 4), (24.0, 12), (999.0, 12)] {
            assert_eq!(nearest_word(16, 4, wanted, double), word, "{wanted}");
        }
    }
}

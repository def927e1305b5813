//! From the words of a BME280 class chip to degrees, kilopascals and percent.
//!
//! Each chip carries the constants of its own elements. Humidity and pressure both lean on the
//! temperature, as "fine temperature" in 1/5120 °C.
//!
//! The datasheet gives the same compensation twice, in whole numbers and in floating point. This is
//! the floating-point form: no intermediate can overflow, whatever words a damaged answer holds.
//!
//! Source: BME280 datasheet, section on the trimming parameter readout (register table) and the
//! appendix with the compensation formulae in double precision; both from memory, the form
//! confirmed by the worked example of the BMP280 datasheet, section 3.12.

use crate::Impossible;

/// The constants of one chip, named as the datasheet names them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[expect(missing_docs, reason = "the datasheet gives the constants numbers, not meanings")]
pub struct Calibration {
    pub t1: u16,
    pub t2: i16,
    pub t3: i16,
    pub p1: u16,
    pub p2: i16,
    pub p3: i16,
    pub p4: i16,
    pub p5: i16,
    pub p6: i16,
    pub p7: i16,
    pub p8: i16,
    pub p9: i16,
    pub h1: u8,
    pub h2: i16,
    pub h3: u8,
    /// Twelve bits with sign.
    pub h4: i16,
    /// Twelve bits with sign.
    pub h5: i16,
    pub h6: i8,
}

impl Calibration {
    /// Reads the constants from the two blocks of registers, 0x88 to 0xA1 and 0xE1 to 0xE7.
    ///
    /// # Errors
    ///
    /// [`Impossible::BlankCalibration`] when a constant that divides or scales everything is 0 or
    /// all ones: an unprogrammed chip, or one that has not copied its constants yet.
    pub(crate) fn from_registers(low: &[u8; 26], high: [u8; 7]) -> Result<Self, Impossible> {
        let unsigned = |at: usize| u16::from_le_bytes([low[at], low[at + 1]]);
        let signed = |at: usize| i16::from_le_bytes([low[at], low[at + 1]]);
        // Two twelve-bit numbers share the byte 0xE5: the low half is H4's, the high half H5's.
        let twelve = |upper: u8, lower: u8| (i16::from(upper as i8) << 4) | i16::from(lower & 0x0F);
        let calibration = Self {
            t1: unsigned(0),
            t2: signed(2),
            t3: signed(4),
            p1: unsigned(6),
            p2: signed(8),
            p3: signed(10),
            p4: signed(12),
            p5: signed(14),
            p6: signed(16),
            p7: signed(18),
            p8: signed(20),
            p9: signed(22),
            h1: low[25],
            h2: i16::from_le_bytes([high[0], high[1]]),
            h3: high[2],
            h4: twelve(high[3], high[4]),
            h5: twelve(high[5], high[4] >> 4),
            h6: high[6] as i8,
        };
        let blank = |word: u16| word == 0 || word == u16::MAX;
        if blank(calibration.t1) || blank(calibration.p1) || blank(calibration.h2 as u16) {
            return Err(Impossible::BlankCalibration);
        }
        Ok(calibration)
    }

    /// Fine temperature [1/5120 °C] of a twenty-bit temperature word.
    pub(crate) fn fine_temperature(&self, word: u32) -> f64 {
        let word = f64::from(word);
        let (t1, t2, t3) = (f64::from(self.t1), f64::from(self.t2), f64::from(self.t3));
        let straight = (word / 16384.0 - t1 / 1024.0) * t2;
        let bent = word / 131072.0 - t1 / 8192.0;
        straight + bent * bent * t3
    }

    /// Temperature [°C].
    pub(crate) fn celsius(fine: f64) -> f64 {
        fine / 5120.0
    }

    /// Air pressure [Pa] of a twenty-bit pressure word; NaN or infinite for constants that make no
    /// sense together, which no range check lets through.
    pub(crate) fn pascal(&self, word: u32, fine: f64) -> f64 {
        let [p1, p2, p3] = [f64::from(self.p1), f64::from(self.p2), f64::from(self.p3)];
        let [p4, p5, p6] = [self.p4, self.p5, self.p6].map(f64::from);
        let [p7, p8, p9] = [self.p7, self.p8, self.p9].map(f64::from);
        let warm = fine / 2.0 - 64000.0;
        let offset = (warm * warm * p6 / 32768.0 + warm * p5 * 2.0) / 4.0 + p4 * 65536.0;
        let slope = (p3 * warm * warm / 524288.0 + p2 * warm) / 524288.0;
        let slope = (1.0 + slope / 32768.0) * p1;
        let first = (1048576.0 - f64::from(word) - offset / 4096.0) * 6250.0 / slope;
        first + (p9 * first * first / 2147483648.0 + first * p8 / 32768.0 + p7) / 16.0
    }

    /// Relative humidity [%] of a humidity word, before clipping to 0 to 100.
    pub(crate) fn percent_unclipped(&self, word: u16, fine: f64) -> f64 {
        let [h1, h3] = [self.h1, self.h3].map(f64::from);
        let [h2, h4, h5] = [self.h2, self.h4, self.h5].map(f64::from);
        let h6 = f64::from(self.h6);
        let warm = fine - 76800.0;
        let offset = h4 * 64.0 + h5 / 16384.0 * warm;
        let slope = h2 / 65536.0 * (1.0 + h6 / 67108864.0 * warm * (1.0 + h3 / 67108864.0 * warm));
        let straight = (f64::from(word) - offset) * slope;
        straight * (1.0 - h1 * straight / 524288.0)
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::Calibration;
    use crate::Impossible;
    // Calibration B of the reference table is also what the simulated chip is made with.
    use crate::simulated::TYPICAL as B;

    /// Calibration A of the reference table: T and P of the BMP280 datasheet's worked example.
    const A: Calibration = Calibration {
        t1: 27504,
        t2: 26435,
        t3: -1000,
        p1: 36477,
        p2: -10685,
        p3: 3024,
        p4: 2855,
        p5: 140,
        p6: -7,
        p7: 15500,
        p8: -14600,
        p9: 6000,
        h1: 75,
        h2: 362,
        h3: 0,
        h4: 333,
        h5: 0,
        h6: 30,
    };

    /// One row of the reference table.
    pub(crate) struct Row(csv::StringRecord);

    impl Row {
        pub(crate) fn calibration(&self) -> Calibration {
            if &self.0[0] == "A" { A } else { B }
        }

        pub(crate) fn number<T: std::str::FromStr<Err: std::fmt::Debug>>(&self, column: usize) -> T {
            self.0[column].parse().unwrap()
        }
    }

    /// The rows of the reference table, whose own figures were reckoned elsewhere.
    pub(crate) fn table() -> Vec<Row> {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/reference/sensors_bme280.csv");
        let mut table = csv::ReaderBuilder::new().comment(Some(b'#')).from_path(path).unwrap();
        let rows: Vec<_> = table.records().map(|row| Row(row.unwrap())).collect();
        assert_eq!(rows.len(), 20);
        rows
    }

    /// The table's twelve digits, and its own tolerance of 1e-9 relative.
    fn close(ours: f64, printed: f64) -> bool {
        (ours - printed).abs() <= 1e-9 * printed.abs().max(1.0)
    }

    #[test]
    fn every_row_of_the_reference_table_comes_out_in_the_double_form() {
        for row in table() {
            let (calibration, word): (_, u32) = (row.calibration(), row.number(1));
            let fine = calibration.fine_temperature(word);
            let pascal = calibration.pascal(row.number(2), fine);
            let percent = calibration.percent_unclipped(row.number(3), fine).clamp(0.0, 100.0);
            assert!(close(Calibration::celsius(fine), row.number(6)), "{word}: {} °C", fine / 5120.0);
            assert!(close(pascal, row.number(10)), "{word}: {pascal} Pa");
            assert!(close(percent, row.number(13)), "{word}: {percent} %");
        }
    }

    #[test]
    fn the_printed_example_of_the_datasheet_comes_out() {
        // BMP280 datasheet, section 3.12: 25.08 °C and 100653.27 Pa.
        let fine = A.fine_temperature(519888);
        assert_eq!(format!("{:.2}", Calibration::celsius(fine)), "25.08");
        assert_eq!(format!("{:.2}", A.pascal(415148, fine)), "100653.27");
    }

    #[test]
    fn constants_are_read_from_their_registers_with_their_signs() {
        // Laid out by hand from the datasheet's register table: low byte first, H4 and H5 sharing 0xE5.
        let low = [
            0x70, 0x6B, 0x43, 0x67, 0x18, 0xFC, // T1 27504, T2 26435, T3 -1000
            0x7D, 0x8E, 0x43, 0xD6, 0xD0, 0x0B, // P1 36477, P2 -10685, P3 3024
            0x27, 0x0B, 0x8C, 0x00, 0xF9, 0xFF, // P4 2855, P5 140, P6 -7
            0x8C, 0x3C, 0xF8, 0xC6, 0x70, 0x17, // P7 15500, P8 -14600, P9 6000
            0x00, 0x4B, // unused, H1 75
        ];
        let high = [0x6A, 0x01, 0x00, 0x14, 0x0D, 0x00, 0x1E]; // H2 362, H3 0, H4 0x14D, H5 0x000, H6 30
        assert_eq!(Calibration::from_registers(&low, high), Ok(A));

        let negative = [0x6A, 0x01, 0x00, 0xEB, 0x23, 0xFC, 0xE2]; // H4 0xEB3, H5 0xFC2, H6 0xE2
        let read = Calibration::from_registers(&low, negative).unwrap();
        assert_eq!((read.h4, read.h5, read.h6), (-333, -62, -30));
    }

    #[test]
    fn blank_constants_are_refused() {
        let blank = Err(Impossible::BlankCalibration);
        assert_eq!(Calibration::from_registers(&[0x00; 26], [0x00; 7]), blank);
        assert_eq!(Calibration::from_registers(&[0xFF; 26], [0xFF; 7]), blank);
        // T1, P1 and H2 alone; everything else is some number.
        for (low_at, high_at) in [(Some(0), None), (Some(6), None), (None, Some(0))] {
            for byte in [0x00, 0xFF] {
                let (mut low, mut high) = ([0x12; 26], [0x12; 7]);
                if let Some(at) = low_at {
                    low[at..at + 2].fill(byte);
                }
                if let Some(at) = high_at {
                    high[at..at + 2].fill(byte);
                }
                assert_eq!(Calibration::from_registers(&low, high), blank, "{low:?} {high:?}");
            }
        }
    }
}

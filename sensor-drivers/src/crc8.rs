//! The checksum that guards each word of the SHT4x class and its relatives.

/// Generator polynomial x⁸ + x⁵ + x⁴ + 1, without its leading term.
const POLYNOMIAL: u8 = 0x31;

/// CRC-8 over `bytes`: polynomial 0x31, first value 0xFF, neither reflected nor inverted.
///
/// The first value of 0xFF is what makes a dead, all-zero answer fail.
///
/// # Source
///
/// SHT4x datasheet, section on the checksum calculation; its check value is 0xBEEF → 0x92.
#[must_use]
pub fn crc8(bytes: &[u8]) -> u8 {
    bytes.iter().fold(0xFF, |crc, byte| {
        (0..8).fold(crc ^ byte, |crc, _| if crc & 0x80 == 0 { crc << 1 } else { (crc << 1) ^ POLYNOMIAL })
    })
}

#[cfg(test)]
mod tests {
    use super::crc8;

    /// Published check values; each row names its source.
    const TABLE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/reference/sensors_crc.csv");

    fn bytes(hex: &str) -> Vec<u8> {
        (0..hex.len()).step_by(2).map(|i| u8::from_str_radix(&hex[i..i + 2], 16).unwrap()).collect()
    }

    #[test]
    fn the_checksum_of_every_published_example_comes_out() {
        let mut table = csv::ReaderBuilder::new().comment(Some(b'#')).from_path(TABLE).unwrap();
        let mut rows = 0;
        for row in table.records() {
            let row = row.unwrap();
            if &row[0] != "crc8-sensirion" {
                continue;
            }
            rows += 1;
            let printed = u8::from_str_radix(&row[5], 16).unwrap();
            assert_eq!(crc8(&bytes(&row[4])), printed, "{} from {}", &row[4], &row[6]);
        }
        assert_eq!(rows, 16, "the table lists sixteen examples of this checksum");
    }
}

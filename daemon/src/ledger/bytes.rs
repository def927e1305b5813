//! The small change of the body forms: variable-length numbers, compressed columns, and the checksum.
//!
//! A whole number is written seven bits at a time, lowest first, the eighth bit saying that more follow. A signed
//! one is folded first (0, -1, 1, -2, ...), so that small steps either way stay short. Every body ends with a
//! CRC-32 over the numbers of its row and the bytes before it: a good body in the wrong row must fail too.

use pco::data_types::Number;
use pco::standalone::{simple_compress, simple_decompress};
use pco::wrapped::{FileCompressor, FileDecompressor};
use pco::{ChunkConfig, PagingSpec};

/// How a column is framed. Both frames hold the same compressed numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Frame {
    /// pco's stand-alone frame: says again what it is and how many it holds, twelve bytes a column.
    Whole,
    /// pco's bare frame, one page: how many numbers it holds must be known from elsewhere.
    Bare,
}

/// More numbers than this do not fit a bare frame.
pub(super) const MOST_BARE: usize = 1 << 24;

/// Why a body cannot be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub(super) enum Spoilt {
    /// The checksum is another.
    #[error("checksum does not fit")]
    Checksum,
    /// The bytes end too early, or say something impossible.
    #[error("body cannot be read")]
    Form,
    /// A form this program does not know.
    #[error("unknown form of body")]
    Unknown,
}

/// Writes a whole number.
pub(super) fn put(out: &mut Vec<u8>, mut number: u64) {
    while number >= 0x80 {
        out.push(number as u8 | 0x80);
        number >>= 7;
    }
    out.push(number as u8);
}

/// Writes a signed number.
pub(super) fn put_signed(out: &mut Vec<u8>, number: i64) {
    put(out, folded(number));
}

/// Writes a column compressed, with its length in bytes before it; an empty one is one zero.
pub(super) fn put_column<T: Number>(out: &mut Vec<u8>, frame: Frame, column: &[T]) {
    if column.is_empty() {
        return put(out, 0);
    }
    let packed = match frame {
        Frame::Whole => simple_compress(column, &ChunkConfig::default()),
        Frame::Bare => bare(column),
    }
    .expect("the configuration is valid, the column fits its frame, and memory takes every write");
    put(out, packed.len() as u64);
    out.extend_from_slice(&packed);
}

/// Bytes of a checksum.
pub(super) const CHECKSUM_BYTES: usize = 4;
fn bare<T: Number>(column: &[T]) -> pco::errors::PcoResult<Vec<u8>> {
    let config = ChunkConfig::default().with_paging_spec(PagingSpec::Exact(vec![column.len()]));
    let file = FileCompressor::default();
    let mut chunk = file.chunk_compressor(column, &config)?;
    let out = chunk.write_meta(file.write_header(Vec::new())?)?;
    chunk.write_page(0, out)
}

fn from_bare<T: Number + Default>(packed: &[u8], rows: usize) -> pco::errors::PcoResult<Vec<T>> {
    let (file, packed) = FileDecompressor::new(packed)?;
    let (mut chunk, packed) = file.chunk_decompressor::<T, _>(packed)?;
    let mut column = vec![T::default(); rows];
    chunk.page_decompressor(packed, rows)?.read(&mut column)?;
    Ok(column)
}

/// Numbers in one group of a packed row of numbers: the hours of a day, where they are hours.
const GROUP: usize = 24;

/// Writes whole numbers in groups: the width of the group's largest in bits, then each in so many, lowest first. A
/// few hundred numbers take no more room so than in a column, and no time.
pub(super) fn put_packed(out: &mut Vec<u8>, numbers: &[u64]) {
    for group in numbers.chunks(GROUP) {
        let width = group.iter().map(|number| 64 - number.leading_zeros()).max().unwrap_or(0);
        out.push(width as u8);
        let (mut bits, mut held) = (0_u128, 0);
        for number in group {
            bits |= u128::from(*number) << held;
            held += width;
            while held >= 8 {
                out.push(bits as u8);
                bits >>= 8;
                held -= 8;
            }
        }
        if held > 0 {
            out.push(bits as u8);
        }
    }
}

/// Folds a signed number so that small ones either way stay small.
pub(super) fn folded(number: i64) -> u64 {
    ((number << 1) ^ (number >> 63)) as u64
}

/// The signed number that was folded.
pub(super) fn unfolded(number: u64) -> i64 {
    (number >> 1) as i64 ^ -((number & 1) as i64)
}

/// Appends the checksum over `row` and everything written so far.
pub(super) fn seal(out: &mut Vec<u8>, row: &[i64]) {
    let sum = checksum(out, row);
    out.extend_from_slice(&sum.to_le_bytes());
}

/// What was sealed, once its checksum is found to fit.
pub(super) fn unseal<'a>(body: &'a [u8], row: &[i64]) -> Result<Bytes<'a>, Spoilt> {
    let (sealed, sum) = body.split_last_chunk::<CHECKSUM_BYTES>().ok_or(Spoilt::Checksum)?;
    if checksum(sealed, row) == u32::from_le_bytes(*sum) { Ok(Bytes(sealed)) } else { Err(Spoilt::Checksum) }
}

/// A text with its checksum after it, in eight hexadecimal digits: over `row` and the text.
pub(super) fn seal_text(text: &str, row: &[i64]) -> String {
    format!("{text} {:08x}", checksum(text.as_bytes(), row))
}

/// The text that was sealed, once its checksum is found to fit.
pub(super) fn unseal_text<'a>(sealed: &'a [u8], row: &[i64]) -> Result<&'a str, Spoilt> {
    let sealed = std::str::from_utf8(sealed).map_err(|_| Spoilt::Checksum)?;
    let (text, _) = sealed.rsplit_once(' ').ok_or(Spoilt::Checksum)?;
    if seal_text(text, row) == sealed { Ok(text) } else { Err(Spoilt::Checksum) }
}

/// See [`seal`]; also over texts that say what a number means.
pub(super) fn checksum(sealed: &[u8], row: &[i64]) -> u32 {
    // A batch is short, and in one piece its sum takes a third of the time.
    let mut whole = [0_u8; 256];
    let length = 8 * row.len() + sealed.len();
    if let Some(whole) = whole.get_mut(..length) {
        let (numbers, rest) = whole.split_at_mut(8 * row.len());
        for (place, number) in numbers.chunks_exact_mut(8).zip(row) {
            place.copy_from_slice(&number.to_le_bytes());
        }
        rest.copy_from_slice(sealed);
        return crc32fast::hash(whole);
    }
    let mut hasher = crc32fast::Hasher::new();
    for number in row {
        hasher.update(&number.to_le_bytes());
    }
    hasher.update(sealed);
    hasher.finalize()
}

/// Bytes being read from the front.
#[derive(Clone, Debug)]
pub(super) struct Bytes<'a>(&'a [u8]);

impl<'a> Bytes<'a> {
    /// For looking at the front of a body without checking it.
    pub(super) fn unchecked(body: &'a [u8]) -> Self {
        Self(body)
    }

    /// How many are left: no honest count of anything can be larger.
    pub(super) fn left(&self) -> usize {
        self.0.len()
    }

    pub(super) fn byte(&mut self) -> Result<u8, Spoilt> {
        let (first, rest) = self.0.split_first().ok_or(Spoilt::Form)?;
        self.0 = rest;
        Ok(*first)
    }

    pub(super) fn number(&mut self) -> Result<u64, Spoilt> {
        // Nearly all numbers are short, and there are very many of them.
        match self.0 {
            [only, rest @ ..] if *only < 0x80 => {
                self.0 = rest;
                return Ok(u64::from(*only));
            }
            [low, high, rest @ ..] if *high < 0x80 => {
                self.0 = rest;
                return Ok(u64::from(low & 0x7f) | u64::from(*high) << 7);
            }
            _ => {}
        }
        let mut number = 0;
        for shift in (0..64).step_by(7) {
            let byte = self.byte()?;
            number |= u64::from(byte & 0x7f) << shift;
            if byte < 0x80 {
                return Ok(number);
            }
        }
        Err(Spoilt::Form)
    }

    pub(super) fn signed(&mut self) -> Result<i64, Spoilt> {
        self.number().map(unfolded)
    }

    /// A number that counts something and is at most `most`.
    pub(super) fn count(&mut self, most: usize) -> Result<usize, Spoilt> {
        let count = self.number()? as usize;
        if count <= most { Ok(count) } else { Err(Spoilt::Form) }
    }

    /// Passes over `length` bytes.
    pub(super) fn skip(&mut self, length: usize) -> Result<(), Spoilt> {
        self.0 = self.0.get(length..).ok_or(Spoilt::Form)?;
        Ok(())
    }

    /// `count` packed numbers.
    pub(super) fn packed(&mut self, count: usize) -> Result<Vec<u64>, Spoilt> {
        let mut numbers = Vec::with_capacity(count);
        while numbers.len() < count {
            let group = (count - numbers.len()).min(GROUP);
            let width = u32::from(self.byte()?);
            let mask = u64::MAX.checked_shr(64_u32.checked_sub(width).ok_or(Spoilt::Form)?).unwrap_or(0);
            let (mut bits, mut held) = (0_u128, 0);
            for _ in 0..group {
                while held < width {
                    bits |= u128::from(self.byte()?) << held;
                    held += 8;
                }
                numbers.push(bits as u64 & mask);
                bits >>= width;
                held -= width;
            }
        }
        Ok(numbers)
    }

    /// A compressed column of `rows` numbers.
    pub(super) fn column<T: Number + Default>(
        &mut self,
        frame: Frame,
        rows: usize,
    ) -> Result<Vec<T>, Spoilt> {
        let length = self.number()? as usize;
        let (packed, rest) = self.0.split_at_checked(length).ok_or(Spoilt::Form)?;
        self.0 = rest;
        let column = match frame {
            _ if length == 0 => Ok(Vec::new()),
            Frame::Whole => simple_decompress(packed),
            Frame::Bare => from_bare(packed, rows),
        };
        column.ok().filter(|column| column.len() == rows).ok_or(Spoilt::Form)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_checksum_is_the_common_crc_32() {
        // Check value of CRC-32 over "123456789": ITU-T V.42 polynomial, as tabled in the catalogue of
        // parametrised CRC algorithms (CRC-32/ISO-HDLC), from memory.
        assert_eq!(checksum(b"123456789", &[]), 0xcbf4_3926);
        let row = [i64::from_le_bytes(*b"12345678")];
        assert_eq!(checksum(b"9", &row), 0xcbf4_3926);
        // In one piece or in several it is the same.
        let long = [7_u8; 300];
        let (mut together, mut hasher) = (b"12345678".to_vec(), crc32fast::Hasher::new());
        together.extend_from_slice(&long);
        hasher.update(&together);
        assert_eq!(checksum(&long, &row), hasher.finalize());
    }

    #[test]
    fn a_sealed_text_is_read_in_its_own_row_only_and_no_bit_of_it_may_change() {
        let sealed = seal_text("{\"what\":\"remark\"}", &[7, 8]);
        assert_eq!(unseal_text(sealed.as_bytes(), &[7, 8]), Ok("{\"what\":\"remark\"}"));
        assert_eq!(unseal_text(sealed.as_bytes(), &[7, 9]), Err(Spoilt::Checksum));
        for bit in 0..sealed.len() * 8 {
            let mut other = sealed.clone().into_bytes();
            other[bit / 8] ^= 1 << (bit % 8);
            assert_eq!(unseal_text(&other, &[7, 8]), Err(Spoilt::Checksum), "bit {bit}");
        }
    }

    #[test]
    fn small_steps_either_way_take_one_byte() {
        for step in -64..64 {
            let mut out = Vec::new();
            put_signed(&mut out, step);
            assert_eq!(out.len(), 1, "{step}");
        }
    }

    proptest! {
        #[test]
        fn numbers_come_back(signed in any::<i64>(), whole in any::<u64>(), column in prop::collection::vec(any::<i32>(), 0..50)) {
            let mut out = Vec::new();
            put_signed(&mut out, signed);
            put(&mut out, whole);
            put_column(&mut out, Frame::Whole, &column);
            put_column(&mut out, Frame::Bare, &column);
            let packed: Vec<u64> = column.iter().map(|number| folded(i64::from(*number)) >> (number & 31)).collect();
            put_packed(&mut out, &packed);
            put_packed(&mut out, &[whole, 0, u64::MAX, folded(signed)]);
            let mut bytes = Bytes(&out);
            prop_assert_eq!(bytes.signed(), Ok(signed));
            prop_assert_eq!(bytes.number(), Ok(whole));
            prop_assert_eq!(bytes.column::<i32>(Frame::Whole, column.len()), Ok(column.clone()));
            prop_assert_eq!(bytes.column::<i32>(Frame::Bare, column.len()), Ok(column));
            prop_assert_eq!(bytes.packed(packed.len()), Ok(packed));
            prop_assert_eq!(bytes.packed(4), Ok(vec![whole, 0, u64::MAX, folded(signed)]));
            prop_assert_eq!(unfolded(folded(signed)), signed);
            prop_assert_eq!(bytes.left(), 0);
        }
    }
}

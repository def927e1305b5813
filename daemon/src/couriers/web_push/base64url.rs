//! Base 64 with the alphabet that is safe in addresses, without padding (RFC 4648, section 5).

const SIGNS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";

/// Bytes as text.
pub fn encode(bytes: &[u8]) -> String {
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for piece in bytes.chunks(3) {
        let bits =
            piece.iter().fold(0_u32, |bits, byte| bits << 8 | u32::from(*byte)) << (8 * (3 - piece.len()));
        for place in 0..=piece.len() {
            text.push(char::from(SIGNS[(bits >> (18 - 6 * place)) as usize & 63]));
        }
    }
    text
}

/// Text as bytes; none where it is not in this form. Padding at the end is let pass: some browsers write it.
pub fn decode(text: &str) -> Option<Vec<u8>> {
    let text = text.trim_end_matches('=').as_bytes();
    if text.len() % 4 == 1 {
        return None;
    }
    let mut bytes = Vec::with_capacity(text.len() * 3 / 4);
    for piece in text.chunks(4) {
        let mut bits = 0_u32;
        for sign in piece {
            bits = bits << 6 | SIGNS.iter().position(|known| known == sign)? as u32;
        }
        bits <<= 6 * (4 - piece.len());
        let whole = piece.len() * 6 / 8;
        bytes.extend_from_slice(&bits.to_be_bytes()[1..=whole]);
        // Bits that belong to no byte must be nought, or two texts would mean the same.
        if bits.to_be_bytes()[whole + 1..].iter().any(|left| *left != 0) {
            return None;
        }
    }
    Some(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_examples_of_the_standard_come_out_and_go_in() {
        // RFC 4648, section 10, without the padding; and section 9's octets, with the signs of section 5.
        let examples: [(&[u8], &str); 8] = [
            (b"", ""),
            (b"f", "Zg"),
            (b"fo", "Zm8"),
            (b"foo", "Zm9v"),
            (b"foob", "Zm9vYg"),
            (b"fooba", "Zm9vYmE"),
            (b"foobar", "Zm9vYmFy"),
            (&[0x14, 0xfb, 0x9c, 0x03, 0xd9, 0x7e], "FPucA9l-"),
        ];
        for (bytes, text) in examples {
            assert_eq!(encode(bytes), text);
            assert_eq!(decode(text).unwrap(), bytes);
        }
        assert_eq!(decode("Zg==").unwrap(), b"f");
    }

    #[test]
    fn what_is_in_no_such_form_is_no_bytes() {
        for text in ["Z", "Zm9vY", "Zm9+", "Zm9/", "Zm 9", "Zh", "Zm9", "é", "Zg=v"] {
            assert_eq!(decode(text), None, "{text}");
        }
    }
}

//! Encryption of a push message for one phone (RFC 8291), so that the push service in between carries what it cannot
//! read.
//!
//! The phone gave a public key and a secret of its own when it subscribed. For each message we make a new key pair;
//! both ends reckon the same shared secret from their own private and the other's public key, and from it, the phone's
//! secret and a random salt the key and nonce of one AES-128-GCM record (RFC 8188, `aes128gcm`). Salt and our public
//! key travel before the record.

use ring::aead::{AES_128_GCM, Aad, LessSafeKey, Nonce, UnboundKey};
use ring::agreement::{ECDH_P256, EphemeralPrivateKey, UnparsedPublicKey, agree_ephemeral};
use ring::hmac;
use ring::rand::{SecureRandom, SystemRandom};

/// Length of a public key of P-256, uncompressed, bytes.
pub const PUBLIC_KEY: usize = 65;
/// Length of the phone's secret, and of the salt, bytes.
pub const SECRET: usize = 16;
/// The record size we name. A push service must take a body of this size (RFC 8030, 7.2), and no larger.
const RECORD: usize = 4096;
/// Salt, record size, length of the key's name, the key's name.
const HEADER: usize = SECRET + 4 + 1 + PUBLIC_KEY;
/// The tag at the end of the record, bytes.
const TAG: usize = 16;
/// The longest text that fits into a body of 4096 bytes with header, one delimiter and the tag.
pub const LONGEST: usize = RECORD - HEADER - 1 - TAG;

/// Why a message was not encrypted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotSealed {
    /// It would not fit into what a push service must take.
    #[error("{0} bytes are more than the {LONGEST} that a push service must take")]
    TooLong(usize),
    /// The phone's public key is none.
    #[error("the phone's public key is none")]
    Key,
    /// The system gives no random numbers.
    #[error("the system gives no random numbers")]
    Random,
}

/// To whom a message is encrypted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Receiver {
    /// The phone's public key, a point of P-256.
    pub public: [u8; PUBLIC_KEY],
    /// The phone's secret.
    pub auth: [u8; SECRET],
}

/// Our side of one message.
struct Sender<'a> {
    public: &'a [u8],
    /// What both ends reckon from the keys (RFC 8291, 3.1).
    shared: &'a [u8],
    salt: [u8; SECRET],
}

/// Key and nonce of the record.
#[derive(Debug, PartialEq, Eq)]
struct Keys {
    key: [u8; 16],
    nonce: [u8; 12],
}

/// A message for one phone: the body of the push request.
///
/// # Errors
///
/// [`NotSealed`].
pub fn seal(text: &[u8], receiver: &Receiver) -> Result<Vec<u8>, NotSealed> {
    let random = SystemRandom::new();
    let mut salt = [0; SECRET];
    random.fill(&mut salt).map_err(|_| NotSealed::Random)?;
    let own = EphemeralPrivateKey::generate(&ECDH_P256, &random).map_err(|_| NotSealed::Random)?;
    let public = own.compute_public_key().map_err(|_| NotSealed::Random)?;
    let theirs = UnparsedPublicKey::new(&ECDH_P256, receiver.public);
    agree_ephemeral(own, &theirs, |shared| {
        sealed(text, 0, receiver, &Sender { public: public.as_ref(), shared, salt })
    })
    .map_err(|_| NotSealed::Key)?
}

/// The body, with the secrets of one message given. `padding`: noughts after the delimiter.
fn sealed(
    text: &[u8],
    padding: usize,
    receiver: &Receiver,
    sender: &Sender<'_>,
) -> Result<Vec<u8>, NotSealed> {
    let length = text.len() + padding;
    if length > LONGEST {
        return Err(NotSealed::TooLong(length));
    }
    let keys = keys(receiver, sender);
    let key = UnboundKey::new(&AES_128_GCM, &keys.key).expect("an AES-128 key has 16 bytes");
    let mut record = text.to_vec();
    // 2 is the delimiter of the last record (RFC 8188, 2).
    record.push(2);
    record.resize(length + 1, 0);
    LessSafeKey::new(key)
        .seal_in_place_append_tag(Nonce::assume_unique_for_key(keys.nonce), Aad::empty(), &mut record)
        .expect("a record of 4 kB is far from the longest that GCM takes");
    let mut body = Vec::with_capacity(HEADER + record.len());
    body.extend_from_slice(&sender.salt);
    body.extend_from_slice(&(RECORD as u32).to_be_bytes());
    body.push(sender.public.len() as u8);
    body.extend_from_slice(sender.public);
    body.extend_from_slice(&record);
    Ok(body)
}

/// Key and nonce of the record, by HKDF (RFC 8291, 3.4: each step needs one block only).
fn keys(receiver: &Receiver, sender: &Sender<'_>) -> Keys {
    let about = [b"WebPush: info\0".as_slice(), &receiver.public, sender.public].concat();
    let input = hkdf::<32>(&receiver.auth, sender.shared, &about);
    Keys {
        key: hkdf(&sender.salt, &input, b"Content-Encoding: aes128gcm\0"),
        nonce: hkdf(&sender.salt, &input, b"Content-Encoding: nonce\0"),
    }
}

/// HKDF with SHA-256 for up to 32 bytes (RFC 5869, 2.2 and 2.3).
fn hkdf<const LENGTH: usize>(salt: &[u8], input: &[u8], about: &[u8]) -> [u8; LENGTH] {
    const { assert!(LENGTH <= 32, "one block of SHA-256") };
    let extracted = hmac::sign(&hmac::Key::new(hmac::HMAC_SHA256, salt), input);
    let mut expand = hmac::Context::with_key(&hmac::Key::new(hmac::HMAC_SHA256, extracted.as_ref()));
    expand.update(about);
    expand.update(&[1]);
    let mut output = [0; LENGTH];
    output.copy_from_slice(&expand.sign().as_ref()[..LENGTH]);
    output
}

#[cfg(test)]
mod tests {
    use super::super::base64url::decode;
    use super::*;

    /// One row of the table: by column name.
    type Row = std::collections::BTreeMap<String, String>;

    /// RFC 8291, section 5 and appendix A, and rows made with another implementation.
    fn rows() -> Vec<Row> {
        let table = include_str!("../../../../tests/reference/wire_webpush.csv");
        let rows: Vec<Row> = csv::ReaderBuilder::new()
            .comment(Some(b'#'))
            .from_reader(table.as_bytes())
            .deserialize()
            .collect::<Result<_, _>>()
            .unwrap();
        assert_eq!(rows.len(), 5);
        rows
    }

    fn bytes(row: &Row, column: &str) -> Vec<u8> {
        decode(&row[column]).unwrap()
    }

    fn array<const LENGTH: usize>(row: &Row, column: &str) -> [u8; LENGTH] {
        bytes(row, column).try_into().unwrap()
    }

    #[test]
    fn every_published_message_comes_out_byte_for_byte() {
        for row in rows() {
            let receiver = Receiver { public: array(&row, "ua_public"), auth: array(&row, "auth_secret") };
            let (public, shared) = (bytes(&row, "as_public"), bytes(&row, "ecdh_secret"));
            let sender = Sender { public: &public, shared: &shared, salt: array(&row, "salt") };
            let wanted = Keys { key: array(&row, "cek"), nonce: array(&row, "nonce") };
            assert_eq!(keys(&receiver, &sender), wanted, "{}", row["id"]);
            assert_eq!(row["rs"], RECORD.to_string());
            let padding = row["pad"].parse().unwrap();
            let body = sealed(&bytes(&row, "plaintext"), padding, &receiver, &sender).unwrap();
            assert_eq!(body[..HEADER], bytes(&row, "header"), "{}", row["id"]);
            assert_eq!(body[HEADER..], bytes(&row, "ciphertext"), "{}", row["id"]);
            assert_eq!(body, bytes(&row, "body"), "{}", row["id"]);
        }
    }

    #[test]
    fn the_longest_text_fills_4096_bytes_and_one_more_is_refused() {
        let rows = rows();
        let row = rows.iter().find(|row| row["id"] == "own-max").unwrap();
        assert_eq!((bytes(row, "plaintext").len(), bytes(row, "body").len()), (LONGEST, RECORD));
        let receiver = Receiver { public: array(row, "ua_public"), auth: array(row, "auth_secret") };
        assert_eq!(seal(&[b'z'; LONGEST], &receiver).unwrap().len(), RECORD);
        assert_eq!(seal(&[b'z'; LONGEST + 1], &receiver), Err(NotSealed::TooLong(LONGEST + 1)));
    }

    #[test]
    fn no_two_messages_share_salt_or_key() {
        let rows = rows();
        let receiver =
            Receiver { public: array(&rows[0], "ua_public"), auth: array(&rows[0], "auth_secret") };
        let (one, other) = (seal(b"net on", &receiver).unwrap(), seal(b"net on", &receiver).unwrap());
        assert_ne!(one[..SECRET], other[..SECRET]);
        assert_ne!(one[21..HEADER], other[21..HEADER]);
        assert_ne!(one[HEADER..], other[HEADER..]);
    }

    #[test]
    fn a_key_that_lies_on_no_curve_is_refused() {
        let receiver = Receiver { public: [4; PUBLIC_KEY], auth: [0; SECRET] };
        assert_eq!(seal(b"net on", &receiver), Err(NotSealed::Key));
    }
}

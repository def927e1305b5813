//! Who we are, to a push service (RFC 8292): a signed token on each request, by a key the phone agreed to when it
//! subscribed.
//!
//! The token is a JSON Web Token signed by ECDSA with P-256 and SHA-256: for which push service it is, until when it
//! holds, and whom the service's people may write to. It holds half of the 24 hours that the standard allows, so that
//! neither a slow clock here nor there spoils it.

use ring::rand::SystemRandom;
use ring::signature::{ECDSA_P256_SHA256_FIXED_SIGNING, EcdsaKeyPair, KeyPair};
use serde_json::json;

use super::base64url::encode;

/// How long a token holds, s.
const HOLDS_S: i64 = 12 * 3600;

/// The system gave no random numbers, or the key is none.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoKey {
    /// Not a key for this purpose.
    #[error("that is no signing key")]
    Damaged,
    /// The system gives no random numbers.
    #[error("the system gives no random numbers")]
    Random,
}

/// Our signing key, and who is behind it.
pub struct Vapid {
    pair: EcdsaKeyPair,
    random: SystemRandom,
    contact: String,
}

/// A new signing key, in PKCS #8 (RFC 5958).
///
/// # Errors
///
/// When the system gives no random numbers.
pub fn new_key() -> Result<Vec<u8>, NoKey> {
    let made = EcdsaKeyPair::generate_pkcs8(&ECDSA_P256_SHA256_FIXED_SIGNING, &SystemRandom::new());
    made.map(|key| key.as_ref().to_vec()).map_err(|_| NoKey::Random)
}

impl Vapid {
    /// With a key of [`new_key`]; `contact` is a `mailto:` or `https:` address.
    ///
    /// # Errors
    ///
    /// When the key is none.
    pub fn new(key: &[u8], contact: String) -> Result<Self, NoKey> {
        let random = SystemRandom::new();
        let pair = EcdsaKeyPair::from_pkcs8(&ECDSA_P256_SHA256_FIXED_SIGNING, key, &random)
            .map_err(|_| NoKey::Damaged)?;
        Ok(Self { pair, random, contact })
    }

    /// The public key as browsers and push services write it.
    pub fn public(&self) -> String {
        encode(self.pair.public_key().as_ref())
    }

    /// The `Authorization` field for a push service at `origin` (scheme, host, port) at `now_ms`, UTC ms.
    ///
    /// # Errors
    ///
    /// When the system gives no random numbers.
    pub fn authorization(&self, origin: &str, now_ms: i64) -> Result<String, NoKey> {
        let header = json!({ "typ": "JWT", "alg": "ES256" }).to_string();
        let until_s = now_ms.div_euclid(1000) + HOLDS_S;
        let claims = json!({ "aud": origin, "exp": until_s, "sub": self.contact }).to_string();
        let said = format!("{}.{}", encode(header.as_bytes()), encode(claims.as_bytes()));
        let signature = self.pair.sign(&self.random, said.as_bytes()).map_err(|_| NoKey::Random)?;
        Ok(format!("vapid t={said}.{}, k={}", encode(signature.as_ref()), self.public()))
    }
}

#[cfg(test)]
mod tests {
    use ring::signature::{ECDSA_P256_SHA256_FIXED, UnparsedPublicKey};
    use serde_json::Value;

    use super::super::base64url::decode;
    use super::*;

    /// Header and claims of a token that the key signed; none where it did not.
    fn verified(token: &str, key: &str) -> Option<(Value, Value)> {
        let (said, signature) = token.rsplit_once('.')?;
        let (header, claims) = said.split_once('.')?;
        UnparsedPublicKey::new(&ECDSA_P256_SHA256_FIXED, decode(key)?)
            .verify(said.as_bytes(), &decode(signature)?)
            .ok()?;
        let read = |part: &str| serde_json::from_slice(&decode(part)?).ok();
        Some((read(header)?, read(claims)?))
    }

    #[test]
    fn the_published_token_verifies_and_its_forgeries_do_not() {
        // RFC 8292, 2.4: token and key; three alterations that must fail.
        let table = include_str!("../../../../tests/reference/wire_vapid.csv");
        let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(table.as_bytes());
        let rows: Vec<std::collections::BTreeMap<String, String>> =
            reader.deserialize().collect::<Result<_, _>>().unwrap();
        assert_eq!(rows.len(), 4);
        for row in rows {
            let verified = verified(&row["jwt"], &row["key"]);
            assert_eq!(verified.is_some().to_string(), row["signature_valid"], "{}", row["id"]);
            if let Some((header, claims)) = verified {
                assert_eq!(header, serde_json::from_str::<Value>(&row["header_json"]).unwrap());
                assert_eq!(claims, serde_json::from_str::<Value>(&row["claims_json"]).unwrap());
            }
        }
    }

    #[test]
    fn our_own_token_verifies_and_says_for_whom_until_when_and_who_asks() {
        let vapid = Vapid::new(&new_key().unwrap(), "mailto:grower@garden.example".to_owned()).unwrap();
        // The moment at which RFC 8292's own token ends.
        let now_ms = 1_453_523_768_000;
        let field = vapid.authorization("https://push.example.net", now_ms).unwrap();
        // RFC 8292, 3: "vapid t=" token ", k=" key.
        let (token, key) = field.strip_prefix("vapid t=").unwrap().split_once(", k=").unwrap();
        let (header, claims) = verified(token, key).unwrap();
        assert_eq!(header, json!({ "typ": "JWT", "alg": "ES256" }));
        assert_eq!(claims["aud"], "https://push.example.net");
        assert_eq!(claims["sub"], "mailto:grower@garden.example");
        // RFC 8292, 2: no more than 24 hours from the request; ours half of that.
        assert_eq!(claims["exp"], 1_453_523_768 + 43_200);
        // An uncompressed point of P-256 (RFC 8292, 3.2).
        let point = decode(key).unwrap();
        assert_eq!((point.len(), point[0]), (65, 4));
    }

    #[test]
    fn what_is_no_key_is_refused() {
        assert_eq!(Vapid::new(b"no key", String::new()).err(), Some(NoKey::Damaged));
    }
}

"""A phone for tests: its keys, and what it reads in a push message (RFC 8291, RFC 8188, RFC 8292).

    push.py keys        prints {"private", "p256dh", "auth"}
    push.py read        reads one JSON object {"private", "auth", "body", "authorization"}, prints
                        {"text", "salt", "claims", "key"}; ends with an error where a check fails

Everything that is bytes is written in base64url. Needs Debian's python3-cryptography.
"""

import base64
import json
import os
import sys

from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec, utils
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

CURVE = ec.SECP256R1()


def text(data):
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode()


def data(words):
    return base64.urlsafe_b64decode(words + "=" * (-len(words) % 4))


def point(key):
    return key.public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)


def keys():
    own = ec.generate_private_key(CURVE)
    private = own.private_numbers().private_value.to_bytes(32, "big")
    return {"private": text(private), "p256dh": text(point(own.public_key())), "auth": text(os.urandom(16))}


def derive(salt, secret, info, length):
    return HKDF(algorithm=hashes.SHA256(), length=length, salt=salt, info=info).derive(secret)


def decrypted(private, auth, body):
    own = ec.derive_private_key(int.from_bytes(data(private), "big"), CURVE)
    salt, size, length = body[:16], int.from_bytes(body[16:20], "big"), body[20]
    sender, records = body[21:21 + length], body[21 + length:]
    assert length == 65 and size >= 18 and len(records) <= size, "one record, after a key of 65 octets"
    shared = own.exchange(ec.ECDH(), ec.EllipticCurvePublicKey.from_encoded_point(CURVE, sender))
    info = b"WebPush: info\0" + point(own.public_key()) + sender
    ikm = derive(data(auth), shared, info, 32)
    key = derive(salt, ikm, b"Content-Encoding: aes128gcm\0", 16)
    nonce = derive(salt, ikm, b"Content-Encoding: nonce\0", 12)
    plain = AESGCM(key).decrypt(nonce, records, None).rstrip(b"\0")
    assert plain[-1:] == b"\2", "the delimiter of the last record"
    return plain[:-1].decode(), text(salt)


def verified(authorization):
    """The claims of the token, once its signature holds."""
    scheme, rest = authorization.split(" ", 1)
    assert scheme == "vapid", scheme
    fields = dict(part.strip().split("=", 1) for part in rest.split(","))
    token, key = fields["t"], fields["k"]
    said, signature = token.rsplit(".", 1)
    raw = data(signature)
    assert len(raw) == 64, "ES256 is r and s, 32 octets each"
    der = utils.encode_dss_signature(int.from_bytes(raw[:32], "big"), int.from_bytes(raw[32:], "big"))
    public = ec.EllipticCurvePublicKey.from_encoded_point(CURVE, data(key))
    public.verify(der, said.encode(), ec.ECDSA(hashes.SHA256()))
    header, claims = (json.loads(data(part)) for part in said.split("."))
    assert header == {"typ": "JWT", "alg": "ES256"}, header
    return claims, key


def read(asked):
    told, salt = decrypted(asked["private"], asked["auth"], data(asked["body"]))
    claims, key = verified(asked["authorization"])
    return {"text": told, "salt": salt, "claims": claims, "key": key}


if __name__ == "__main__":
    answer = keys() if sys.argv[1] == "keys" else read(json.load(sys.stdin))
    print(json.dumps(answer))

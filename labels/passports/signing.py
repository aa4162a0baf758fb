"""Signs a document and verifies it: Ed25519 over canonical JSON, put together as W3C ``eddsa-jcs-2022`` says.

Sources: RFC 8032 (Ed25519); RFC 8785 (canonical JSON); W3C Recommendation "Data Integrity EdDSA Cryptosuites v1.0"
(eddsa-jcs-2022); W3C CCG "The did:key Method" (a key's bytes are 0xed 0x01 and then 32, in base58btc with a z before).
"""

import hashlib
from datetime import UTC, datetime

import rfc8785
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from labels.passports.errors import KeyUnreadable, PassportRefused

KEY_BYTES, SIGNATURE_BYTES = 32, 64
ED25519_PREFIX = bytes([0xED, 0x01])  # multicodec, "ed25519-pub"
DID_KEY = "did:key:"
PROOF_TYPE, CRYPTOSUITE, PURPOSE = "DataIntegrityProof", "eddsa-jcs-2022", "assertionMethod"
TIME = "%Y-%m-%dT%H:%M:%SZ"

BASE58 = "123456789ABCDEFGHJKLMNPQRSTUVWXYZabcdefghijkmnopqrstuvwxyz"
LONGEST_BASE58 = 200  # characters; a key has 48, a signature 88 or fewer


def to_base58(data: bytes) -> str:
    """Bytes in the base58 of Bitcoin; a zero byte in front is a 1."""
    number, figures = int.from_bytes(data), ""
    while number:
        number, rest = divmod(number, 58)
        figures = BASE58[rest] + figures
    return "1" * (len(data) - len(data.lstrip(b"\0"))) + figures


def from_base58(text: str) -> bytes:
    """The bytes of a base58 text. Raises ValueError for a character that is none of its 58, or a text too long."""
    if len(text) > LONGEST_BASE58:
        raise ValueError("too long")
    number = 0
    for figure in text:
        number = number * 58 + BASE58.index(figure)
    zeros = len(text) - len(text.lstrip("1"))
    return bytes(zeros) + number.to_bytes((number.bit_length() + 7) // 8)


def canonical(document) -> bytes:
    """The canonical form of a JSON value, RFC 8785. Raises PassportRefused for what has none, as half a character."""
    try:
        return rfc8785.dumps(document)
    except (rfc8785.CanonicalizationError, UnicodeError, RecursionError) as error:
        raise PassportRefused("The file holds something that no text can hold, so it is no passport.") from error


# Keys ---------------------------------------------------------------------------------------------------------------


def new_key() -> str:
    """A fresh private key as PEM (PKCS #8, not encrypted; the file's mode keeps it)."""
    return (
        Ed25519PrivateKey.generate()
        .private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
        .decode()
    )


def read_key(pem: str) -> Ed25519PrivateKey:
    """The private key in a PEM. Raises KeyUnreadable."""
    try:
        key = serialization.load_pem_private_key(pem.encode(), password=None)
    except (ValueError, TypeError) as error:
        raise KeyUnreadable(
            "The key that signs your passports cannot be read. Put it back from a backup; "
            "or move the file passport_key.pem out of the keys folder, and a new key makes you somebody new to others."
        ) from error
    if not isinstance(key, Ed25519PrivateKey):
        raise KeyUnreadable("The key that signs your passports is of another kind; passports need Ed25519.")
    return key


def did_of(key: Ed25519PublicKey | Ed25519PrivateKey) -> str:
    """The name of a key that says the whole key: ``did:key:z6Mk…``."""
    public = key.public_key() if isinstance(key, Ed25519PrivateKey) else key
    return f"{DID_KEY}z{to_base58(ED25519_PREFIX + public.public_bytes_raw())}"


def key_of(did: str) -> Ed25519PublicKey:
    """The public key in its name. Raises PassportRefused if it is none, or of a wrong length."""
    if not did.startswith(f"{DID_KEY}z"):
        raise PassportRefused("Who signed this passport is not told by a key, so it cannot be checked.")
    try:
        data = from_base58(did.removeprefix(f"{DID_KEY}z"))
    except ValueError as error:
        raise PassportRefused("The key in this passport is misspelt; ask for the file again.") from error
    if data[:2] != ED25519_PREFIX:
        raise PassportRefused("The key in this passport is of a kind that passports do not use; they use Ed25519.")
    if len(data) != len(ED25519_PREFIX) + KEY_BYTES:
        raise PassportRefused(
            f"The key in this passport has a wrong length, {len(data) - 2} bytes; a key has {KEY_BYTES}."
        )
    return Ed25519PublicKey.from_public_bytes(data[2:])


def fingerprint(did: str) -> tuple[str, ...]:
    """Six groups of five figures that two keepers can read to each other: about 99 bits of the key's SHA-256."""
    figures = int.from_bytes(hashlib.sha256(did.encode()).digest()) % 10**30
    text = f"{figures:030d}"
    return tuple(text[at : at + 5] for at in range(0, 30, 5))


# Proofs -------------------------------------------------------------------------------------------------------------


def signed_bytes(document: dict, proof: dict) -> bytes:
    """The 64 bytes that are signed: SHA-256 of the proof without its value, then of the document without its proof."""
    options = {name: value for name, value in proof.items() if name != "proofValue"}
    bare = {name: value for name, value in document.items() if name != "proof"}
    return hashlib.sha256(canonical(options)).digest() + hashlib.sha256(canonical(bare)).digest()


def sign(document: dict, *, key: Ed25519PrivateKey, created: datetime) -> dict:
    """The document with its proof. ``created`` is a moment with its time zone; it is told to the second, in UTC."""
    did = did_of(key)
    proof = {
        "@context": document["@context"],
        "type": PROOF_TYPE,
        "cryptosuite": CRYPTOSUITE,
        "created": created.astimezone(UTC).strftime(TIME),
        "verificationMethod": f"{did}#{did.removeprefix(DID_KEY)}",
        "proofPurpose": PURPOSE,
    }
    value = key.sign(signed_bytes(document, proof))
    return document | {"proof": proof | {"proofValue": f"z{to_base58(value)}"}}


def verify(document: dict, *, did: str) -> datetime:
    """The moment at which the key of this name signed the document.

    Raises PassportRefused without a proof, for one of another kind, for a key that is not the one named, and for
    a signature that does not fit: then a document was altered after it was signed, or another key signed it.
    """
    proof = document.get("proof")
    if proof is None:
        raise PassportRefused("Nobody signed this passport, so nothing in it can be relied on.")
    if not isinstance(proof, dict) or not all(isinstance(value, str) for value in (proof | {"@context": ""}).values()):
        raise PassportRefused("The signature of this passport is not in order; ask for the file again.")
    if proof.get("type") != PROOF_TYPE or proof.get("cryptosuite") != CRYPTOSUITE:
        raise PassportRefused(
            "This passport is signed in a way that is not known here; it may come from a later Ramet."
        )
    key = key_of(did)
    expected = {
        "@context": document.get("@context"),
        "type": PROOF_TYPE,
        "cryptosuite": CRYPTOSUITE,
        "created": proof.get("created"),
        "verificationMethod": f"{did}#{did.removeprefix(DID_KEY)}",
        "proofPurpose": PURPOSE,
        "proofValue": proof.get("proofValue"),
    }
    if proof != expected or not proof["proofValue"] or not proof["created"]:
        raise PassportRefused("The signature of this passport does not belong to the keeper it names.")
    try:
        value = from_base58(proof["proofValue"].removeprefix("z"))
        created = datetime.strptime(proof["created"], TIME).replace(tzinfo=UTC)
    except ValueError as error:
        raise PassportRefused("The signature of this passport is not in order; ask for the file again.") from error
    if f"z{to_base58(value)}" != proof["proofValue"] or len(value) != SIGNATURE_BYTES:
        raise PassportRefused("The signature of this passport is not in order; ask for the file again.")
    if created.strftime(TIME) != proof["created"]:
        raise PassportRefused("The signature of this passport is not in order; ask for the file again.")
    try:
        key.verify(value, signed_bytes(document, proof))
    except InvalidSignature as error:
        raise PassportRefused(
            "This passport was altered after it was signed, or somebody else signed it. Ask for the file again."
        ) from error
    return created

"""Signatures of passports against published vectors and a second library."""

import json

import nacl.exceptions
import nacl.signing
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import given
from hypothesis import strategies as st

from labels.passports.errors import KeyUnreadable, PassportRefused
from labels.passports.signing import (
    canonical,
    did_of,
    fingerprint,
    from_base58,
    key_of,
    new_key,
    read_key,
    sign,
    signed_bytes,
    to_base58,
    verify,
)
from tests.labels.passport_samples import EARLIER, KEY, OTHER_KEY, document, signed

# RFC 8785, §3.2.2 and §3.2.3 (the text and its canonical form), as in its author's test data
# (github.com/cyberphone/json-canonicalization, testdata/input and testdata/output: values.json, weird.json).
CANONICAL = [
    (
        r"""{"numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
        "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/", "literals": [null, true, false]}""",
        '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
        '"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}',
    ),
    (
        r"""{"\u20ac": "Euro Sign", "1": "One", "\u0080": "Control\u007f", "\ud83d\ude02": "Smiley",
        "\u00f6": "Latin Small Letter O With Diaeresis", "\ufb33": "Hebrew Letter Dalet With Dagesh",
        "</script>": "Browser Challenge"}""",
        '{"1":"One","</script>":"Browser Challenge","\x80":"Control\x7f",'
        '"ö":"Latin Small Letter O With Diaeresis","€":"Euro Sign","😂":"Smiley",'
        '"\ufb33":"Hebrew Letter Dalet With Dagesh"}',
    ),
]

# RFC 8032, §7.1: secret key, public key, message, signature (TEST 1, TEST 2, TEST 3).
ED25519 = [
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46b"
        "d25bf5f0595bbe24655141438e7a100b",
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c"
        "387b2eaeb4302aeeb00d291612bb0c00",
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc659"
        "4a7c15e9716ed28dc027beceea1ec40a",
    ),
]


@pytest.mark.parametrize(("text", "expected"), CANONICAL)
def test_canonical_form_is_that_of_rfc_8785(text, expected):
    assert canonical(json.loads(text)).decode() == expected


@pytest.mark.parametrize(("secret", "public", "message", "signature"), ED25519)
def test_keys_sign_as_rfc_8032_says(secret, public, message, signature):
    key = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret))
    assert key.public_key().public_bytes_raw().hex() == public
    assert key.sign(bytes.fromhex(message)).hex() == signature


def test_a_proof_is_that_of_eddsa_jcs_2022():
    """W3C "Data Integrity EdDSA Cryptosuites v1.0", test vectors: github.com/w3c/vc-di-eddsa,

    TestVectors/keyPair.json and TestVectors/eddsa-jcs-2022/signedJCS.json.
    """
    credential = {
        "@context": ["https://www.w3.org/ns/credentials/v2", "https://www.w3.org/ns/credentials/examples/v2"],
        "id": "urn:uuid:58172aac-d8ba-11ed-83dd-0b3aef56cc33",
        "type": ["VerifiableCredential", "AlumniCredential"],
        "name": "Alumni Credential",
        "description": "A minimum viable example of an Alumni Credential.",
        "issuer": "https://vc.example/issuers/5678",
        "validFrom": "2023-01-01T00:00:00Z",
        "credentialSubject": {"id": "did:example:abcdefgh", "alumniOf": "The School of Examples"},
    }
    proof = {
        "type": "DataIntegrityProof",
        "cryptosuite": "eddsa-jcs-2022",
        "created": "2023-02-24T23:36:38Z",
        "verificationMethod": "https://vc.example/issuers/5678#z6MkrJVnaZkeFzdQyMZu1cgjg7k1pZZ6pvBQ7XJPt4swbTQ2",
        "proofPurpose": "assertionMethod",
        "@context": credential["@context"],
    }
    secret = from_base58("3u2en7t5LR2WtQH5PfFqMqwVHBeXouLzo6haApm8XHqvjxq")
    key = Ed25519PrivateKey.from_private_bytes(secret[2:])  # after the multicodec of a private key
    assert did_of(key) == "did:key:z6MkrJVnaZkeFzdQyMZu1cgjg7k1pZZ6pvBQ7XJPt4swbTQ2"
    assert to_base58(key.sign(signed_bytes(credential, proof))) == (
        "63t83Y53KfzJ5ZosfKTnqfMcKB2dmTrfjSaQjeNNjAD5srBowQfmWqeRb8rRjmeEuCBEsddF9LsVogtuTsijJKh4"
    )


def test_another_library_verifies_what_is_signed_and_signs_what_is_verified():
    """libsodium, by PyNaCl: another implementation than the one that signs here (OpenSSL)."""
    ours = signed()
    message = signed_bytes(ours, ours["proof"])
    value = from_base58(ours["proof"]["proofValue"][1:])
    public = nacl.signing.VerifyKey(KEY.public_key().public_bytes_raw())
    assert public.verify(message, value) == message
    with pytest.raises(nacl.exceptions.BadSignatureError):
        public.verify(message, bytes([value[0] ^ 1]) + value[1:])
    theirs = nacl.signing.SigningKey(KEY.private_bytes_raw()).sign(message).signature
    proof = ours["proof"] | {"proofValue": f"z{to_base58(theirs)}"}
    assert verify(ours | {"proof": proof}, did=did_of(KEY)) == EARLIER


@given(st.binary(max_size=80))
def test_base58_comes_back(data):
    assert from_base58(to_base58(data)) == data


def test_base58_of_known_bytes():
    """draft-msporny-base58-03, §5: test vectors."""
    assert to_base58(b"Hello World!") == "2NEpo7TZRRrLZSi2U"
    assert to_base58(bytes.fromhex("0000287fb4cd")) == "11233QC4"


@given(st.binary(min_size=32, max_size=32))
def test_a_key_comes_back_out_of_its_name(seed):
    key = Ed25519PrivateKey.from_private_bytes(seed)
    assert did_of(key_of(did_of(key))) == did_of(key)


def test_figures_of_a_key_are_six_groups_of_five_and_its_own():
    figures = fingerprint(did_of(KEY))
    assert [len(group) for group in figures] == [5] * 6
    assert all(group.isdigit() for group in figures)
    assert figures != fingerprint(did_of(OTHER_KEY))
    assert figures == fingerprint(did_of(KEY))


@pytest.mark.parametrize(
    ("did", "reason"),
    [
        ("https://lagoon.example/#key", "not told by a key"),
        ("did:key:z6Mk0", "misspelt"),
        (f"did:key:z{'2' * 5000}", "misspelt"),
        (f"did:key:z{to_base58(bytes([0xED, 0x01]) + bytes(31))}", "wrong length, 31 bytes"),
        (f"did:key:z{to_base58(bytes([0xED, 0x01]) + bytes(33))}", "wrong length, 33 bytes"),
        (f"did:key:z{to_base58(bytes([0xE7, 0x01]) + bytes(33))}", "of a kind"),
        ("did:key:z", "of a kind"),
    ],
)
def test_a_key_that_is_none_is_refused(did, reason):
    with pytest.raises(PassportRefused, match=reason):
        key_of(did)


def test_a_key_written_as_pem_is_read_again_and_a_broken_one_is_said():
    pem = new_key()
    assert did_of(read_key(pem)) == did_of(read_key(pem))
    for broken in ("", pem[:60], "-----BEGIN RSA"):
        with pytest.raises(KeyUnreadable, match="cannot be read"):
            read_key(broken)


def test_the_same_document_signed_by_another_is_not_verified():
    stolen = document(key=KEY)
    for forged in (
        sign(stolen, key=OTHER_KEY, created=EARLIER),
        stolen
        | {
            "proof": signed(key=KEY)["proof"]
            | {"proofValue": sign(stolen, key=OTHER_KEY, created=EARLIER)["proof"]["proofValue"]}
        },
    ):
        with pytest.raises(PassportRefused):
            verify(forged, did=did_of(KEY))

"""The key that signs this keeper's passports; made when it is needed first, kept in RAMET_HOME/keys."""

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from django.conf import settings

from config.home import kept_secret
from labels.passports.errors import KeyUnreadable
from labels.passports.signing import did_of, new_key, read_key

FILE = "passport_key.pem"


def keeper_key() -> Ed25519PrivateKey:
    """The private key. Raises KeyUnreadable if its file is there but cannot be read; it is never replaced."""
    path = settings.RAMET_HOME / "keys" / FILE
    try:
        return read_key(kept_secret(path, new_key))
    except (OSError, UnicodeDecodeError) as error:
        raise KeyUnreadable(f"The key that signs your passports cannot be read from {path}.") from error


def keeper_did() -> str:
    """The name of this keeper's key: ``did:key:z6Mk…``. Raises KeyUnreadable."""
    return did_of(keeper_key())


def own_did() -> str:
    """The same for those who only look: empty as long as there is no key, or where it cannot be read."""
    if not (settings.RAMET_HOME / "keys" / FILE).exists():
        return ""
    try:
        return keeper_did()
    except KeyUnreadable:
        return ""

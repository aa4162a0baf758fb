"""Passports made for tests: by keepers of their own, without records."""

from datetime import UTC, date, datetime

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from labels.passports.document import ACQUISITION, CUT, GROWING_ON, Individual, Line, compose
from labels.passports.reading import Passport, read_passport
from labels.passports.signing import canonical, did_of, sign

NOW = datetime(2026, 6, 15, 12, 0, 0, tzinfo=UTC)
EARLIER = datetime(2026, 5, 20, 8, 30, 0, tzinfo=UTC)
KEY = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
OTHER_KEY = Ed25519PrivateKey.from_private_bytes(bytes(range(32, 64)))
CODE, OTHER_CODE = "G6X98HR4", "TDSPNJ3T"  # both with a check character that fits


def line(code=CODE, *, prior="", name="Harbour Ember", acquired=date(2024, 1, 10), cut=date(2026, 4, 1)) -> Line:
    """A plug of the second generation: its mother was grown from a frag of a colony that was acquired."""
    return Line(
        code=code,
        name=name,
        genus="Acropora",
        species="millepora",
        origin="maricultured",
        individuals=(
            Individual(cut, CUT),
            Individual(max(date(2025, 6, 1), acquired), GROWING_ON, "MOTHER-2"),
            Individual(max(date(2025, 3, 3), acquired), CUT),
            Individual(acquired, ACQUISITION, "GRAND/1", acquired, prior),
        ),
    )


def document(told: Line | None = None, *, key=KEY, keeper="The Lagoon Shed", priors=()) -> dict:
    """A passport that is not signed yet."""
    return compose(told or line(), did=did_of(key), keeper=keeper, priors=list(priors))


def signed(told: Line | None = None, *, key=KEY, created=EARLIER, **kwargs) -> dict:
    return sign(document(told, key=key, **kwargs), key=key, created=created)


def read(signed_document: dict, *, now=NOW) -> Passport:
    return read_passport(canonical(signed_document), now=now)


def chained(first: dict, *, key=OTHER_KEY, code=OTHER_CODE, came=date(2026, 4, 20), created=EARLIER, **kwargs) -> dict:
    """What the next keeper hands on: a frag that came with the passport `first` and goes on as it is."""
    told = Line(
        code=code,
        name="Harbour Ember of the shed",
        individuals=(Individual(came, ACQUISITION, acquired=came, prior=first["about"]),),
    )
    return signed(told, key=key, created=created, keeper="", priors=[first], **kwargs)

"""What is printed on one label."""

from dataclasses import dataclass
from datetime import date
from typing import Literal


@dataclass(frozen=True)
class LabelContent:
    """One label.

    Attributes
    ----------
    address : str
        What the QR says, upper-case so that it fits the alphanumeric set, e.g. `HTTPS://RAMET.EXAMPLE/Q/K7M42QXP`.
    code : str
        The code in clear as it is read aloud and typed, e.g. `K7M4-2QXP`.
    lineage : str
        Name of the lineage, in any script and of any length.
    cut_on : date or None
        The day of the cut; a colony has none.
    mother : str or None
        Tag of the mother a plug was cut from; on the label of a colony its own tag.
    kind : "plug" or "colony"
    """

    address: str
    code: str
    lineage: str
    cut_on: date | None = None
    mother: str | None = None
    kind: Literal["plug", "colony"] = "plug"

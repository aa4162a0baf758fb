"""What the codes in a photo say: whose labels they are, and how large each was printed."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from urllib.parse import urlsplit

from propagation import codes
from propagation.card_address import is_general_card, symbol_mm_of_card
from propagation.errors import CodeMistyped
from propagation.label_sizes import LabelSize, label_sizes
from propagation.models import Colony, Fate, Plug
from propagation.readings.find import code_in


@dataclass(frozen=True)
class PhotoLabel:
    """One code in a photo. ``code`` is bare, or empty for what is no label of anybody's plug or colony.

    ``of`` is the colony or plug that has it here, or None. ``side_mm`` is how large it was printed, or None.
    """

    text: str
    code: str = ""
    card_mm: Decimal | None = None
    of: Colony | Plug | None = None
    printed: LabelSize | None = None

    @property
    def is_card(self) -> bool:
        return self.card_mm is not None

    @property
    def side_mm(self) -> Decimal | None:
        if self.is_card:
            return self.card_mm
        return self.printed.side_mm if self.printed else None

    @property
    def named(self) -> str:
        """As a sentence names it: ``K7M4-2QXP of M12``, ``the scale card``, ``“HTTPS://…”``."""
        if self.of is not None:
            clear = codes.in_clear(self.code)
            return f"{clear} of colony {self.of}" if isinstance(self.of, Colony) else f"{clear}"
        if self.is_card and not self.code:
            return "the scale card"
        if self.code:
            host = urlsplit(self.text).hostname
            return f"{codes.in_clear(self.code)}{f' at {host}' if host else ''}"
        return f"“{self.text[:40]}{'…' if len(self.text) > 40 else ''}”"


def code_of_label(text: str) -> str:
    """The bare code of a plug or a colony in what a label or a scale card says; empty if it holds none."""
    if is_general_card(text):
        return ""
    try:
        return codes.read_code(code_in(text))
    except CodeMistyped:
        return ""


def labels_of_photo(texts: Iterable[str]) -> list[PhotoLabel]:
    """The labels with these texts, in their order, with whose they are. Three queries at most, and the print record's.

    The label of a plug that was grown on is a label of the colony it has become.
    """
    read = [(text, code_of_label(text)) for text in texts]
    wanted = {code for _, code in read if code}
    known = {}
    if wanted:
        plugs = Plug.objects.exclude(fate=Fate.VOID).filter(code__in=wanted).select_related("lineage", "colony")
        for plug in plugs:
            known[plug.code] = plug.colony if plug.fate == Fate.GROWN_ON and hasattr(plug, "colony") else plug
        for colony in Colony.objects.filter(code__in=wanted).select_related("lineage"):
            known[colony.code] = colony
    sizes = label_sizes(known)
    return [
        PhotoLabel(text=text, code=code, card_mm=symbol_mm_of_card(text), of=known.get(code), printed=sizes.get(code))
        for text, code in read
    ]


@dataclass(frozen=True)
class SortedOut:
    """What a photo is of by its labels, or a sentence why that cannot be said."""

    of: Colony | Plug | None
    trouble: str = ""


def sort_by_labels(labels: list[PhotoLabel]) -> SortedOut:
    """Whose photo it is: the one colony or plug of ours whose label is in it, whatever else is."""
    ours = list({label.of: label for label in labels if label.of is not None}.values())
    if len(ours) == 1:
        return SortedOut(ours[0].of)
    if ours:
        named = [label.named for label in ours]
        return SortedOut(
            None,
            f"{len(ours)} labels are in the picture: {', '.join(named[:-1])[:200]} and {named[-1]}. "
            "Say which one it is a picture of.",
        )
    others = [label for label in labels if label.code]
    if others:
        return SortedOut(
            None,
            f"The label {others[0].named} is not one of yours: nothing in your records has its code. "
            "Say what it is a picture of.",
        )
    if any(label.is_card for label in labels):
        return SortedOut(None, "Only a scale card is in the picture, no label. Say what it is a picture of.")
    if labels:
        return SortedOut(
            None, f"The code {labels[0].named} is no label of a plug or a colony. Say what it is a picture of."
        )
    return SortedOut(None, "No readable code is in the picture. Say what it is a picture of.")


def ruler_among(labels: list[PhotoLabel], of: Colony | Plug | None) -> PhotoLabel | None:
    """The label to measure by: a scale card before the label of what is shown before any other of a known size."""
    sized = [label for label in labels if label.side_mm]
    return next(
        (
            label
            for is_fit in (lambda each: each.is_card, lambda each: each.of == of and of is not None, lambda each: True)
            for label in sized
            if is_fit(label)
        ),
        None,
    )

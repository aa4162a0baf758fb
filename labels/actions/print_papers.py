"""Printing papers of a sale, a trade, a plug or a colony."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from inventory.models import Sale, Trade
from labels.drawing.errors import LabelDrawingError
from labels.drawing.papers.composing import draw_papers
from labels.drawing.papers.contents import Paper
from labels.drawing.papers.pages import A4, LETTER, SIZES, PaperSize
from labels.errors import CannotPrint, NoSuchPaper
from labels.paper_words import file_name
from labels.readings.papers import (
    Issuer,
    care_note_of,
    certificates_of,
    left_by_mistake,
    packing_list_of,
    receipt_of_sale,
    receipt_of_trade,
    things_of,
)
from propagation.errors import PlugGone
from propagation.lengths import INCH
from propagation.models import Colony, Plug, Preferences


class Kind(StrEnum):
    """The papers there are, by the word in their address."""

    RECEIPT = "receipt"
    PACKING = "packing"
    CERTIFICATE = "certificate"
    CARE = "care"
    ALL = "all"

    @property
    def label(self) -> str:
        return {
            Kind.RECEIPT: "Receipt",
            Kind.PACKING: "Packing list",
            Kind.CERTIFICATE: "Certificate",
            Kind.CARE: "Care note",
            Kind.ALL: "All papers",
        }[self]

    @property
    def plural(self) -> str:
        """What it is called where there is one for each coral."""
        return "Certificates" if self == Kind.CERTIFICATE else self.label


# Of what each paper can be made; those that go to others leave out where things stand.
KINDS = {
    Sale: (Kind.RECEIPT, Kind.PACKING, Kind.CERTIFICATE, Kind.CARE, Kind.ALL),
    Trade: (Kind.RECEIPT, Kind.PACKING, Kind.CERTIFICATE, Kind.CARE, Kind.ALL),
    Plug: (Kind.CERTIFICATE, Kind.CARE, Kind.ALL),
    Colony: (Kind.CERTIFICATE, Kind.CARE, Kind.ALL),
}
FOR_KEEPER_ALONE = {Kind.PACKING}


@dataclass(frozen=True)
class PrintedPapers:
    """A finished PDF, the name of its file, and how many pages it has."""

    pdf: bytes
    file_name: str
    pages: int


def size_named(name: str) -> PaperSize:
    """The size of paper called ``a4`` or ``letter``, in either case. Raises NoSuchPaper."""
    size = SIZES.get(name.strip().lower())
    if size is None:
        raise NoSuchPaper(f"There is no paper size “{name}” here; choose {' or '.join(SIZES)}.", field="paper")
    return size


def usual_size(preferences: Preferences) -> PaperSize:
    """What lies in the printer of a keeper who has not said: Letter where lengths are in inches."""
    return LETTER if preferences.length_unit == INCH else A4


def kinds_of(of: Sale | Trade | Plug | Colony, *, for_others: bool = False) -> list[Kind]:
    """The papers that can be made of it; of what was called off the receipt alone."""
    kinds = [kind for kind in KINDS[type(of)] if not (for_others and kind in FOR_KEEPER_ALONE)]
    if getattr(of, "cancelled_on", None):
        return [Kind.RECEIPT]
    return kinds


def print_papers(
    *,
    of: Sale | Trade | Plug | Colony,
    kind: str,
    size: PaperSize,
    base_address: str,
    today: date,
    among: Sequence[Plug | Colony] | None = None,
    for_others: bool = False,
) -> PrintedPapers:
    """Draw one kind of paper, or all of them. Writes nothing but the keeper's key, on first need.

    ``among`` narrows certificates and care notes to some of what is sold or traded; ``for_others`` leaves out what is
    the keeper's own affair. Raises NoSuchPaper for a kind that there is not, PlugGone for what was recorded by mistake,
    CannotPrint with the reason.
    """
    kinds = kinds_of(of, for_others=for_others)
    if kind not in kinds:
        words = ", ".join(each.value for each in kinds)
        raise NoSuchPaper(f"There is no paper “{kind}” of {_named(of)}; there is {words}.", field="kind")
    if isinstance(of, Plug | Colony) and left_by_mistake(of):
        raise (
            PlugGone(of, "given papers")
            if isinstance(of, Plug)
            else NoSuchPaper(f"{of.tag} was recorded by mistake, so there are no papers of it.")
        )
    issuer = Issuer(Preferences.current(), base_address, today)
    papers = _papers(of, Kind(kind), kinds, issuer, among)
    if not papers:
        raise NoSuchPaper(f"Nothing is in {_named(of)}, so there is no {Kind(kind).label.lower()} of it.")
    title = f"{Kind(kind).label} · {papers[0].head.reference}"
    try:
        drawn = draw_papers(papers, size=size, title=title)
    except LabelDrawingError as error:
        raise CannotPrint(str(error)) from error
    return PrintedPapers(drawn.pdf, _file_name(of, Kind(kind), among), drawn.pages)


def _papers(of, kind, kinds, issuer, among) -> list[Paper]:
    wanted = kinds if kind == Kind.ALL else [kind]
    made: list[Paper] = []
    if Kind.RECEIPT in wanted:
        made.append(receipt_of_sale(of, issuer) if isinstance(of, Sale) else receipt_of_trade(of, issuer))
    if Kind.PACKING in wanted:
        made.append(packing_list_of(of, issuer))
    if Kind.CERTIFICATE in wanted or Kind.CARE in wanted:
        things = list(among) if among is not None else things_of(of)
        if Kind.CERTIFICATE in wanted and things:
            made += certificates_of(things, of, issuer)
        if Kind.CARE in wanted and things:
            made.append(care_note_of(things, of, issuer))
    return made


def _named(of) -> str:
    if isinstance(of, Sale | Trade):
        return f"{type(of).__name__.lower()} {of.pk}"
    return of.tag if isinstance(of, Colony) else of.code_in_clear


def _file_name(of, kind, among) -> str:
    """``Receipt sale 12.pdf``, ``Certificate K7M4-2QXP Harbour Ember.pdf``."""
    one = among[0] if among is not None and len(among) == 1 else of
    if isinstance(one, Sale | Trade):
        return file_name(kind.label, _named(one))
    return file_name(kind.label, _named(one), one.lineage.name)

"""What stands on the label of a plug or of a colony."""

from labels.drawing.content import LabelContent
from propagation.models import Colony, Plug


def address_of(base_address: str, code: str) -> str:
    """What the QR says: upper-case, so that it fits the alphanumeric set and the symbol stays small.

    Scheme and host do not care for case (RFC 3986 §6.2.2.1), and the page that answers takes its code in either.
    """
    return f"{base_address.rstrip('/')}/Q/{code}".upper()


def content_of(labelled: Plug | Colony, *, base_address: str) -> LabelContent:
    """The content of one label. Wants lineage, and of a plug its cut event and mother, loaded."""
    if isinstance(labelled, Colony):
        return LabelContent(
            address=address_of(base_address, labelled.code),
            code=labelled.code_in_clear,
            lineage=labelled.lineage.name,
            cut_on=None,
            mother=labelled.tag,
            kind="colony",
        )
    return LabelContent(
        address=address_of(base_address, labelled.code),
        code=labelled.code_in_clear,
        lineage=labelled.lineage.name,
        cut_on=labelled.began_on,
        mother=labelled.cut_event.mother.tag if labelled.cut_event_id else None,
        kind="plug",
    )

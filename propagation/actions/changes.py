"""Two people correcting one record: the second is told."""

from propagation.errors import ChangedMeanwhile


def last_change(record) -> int:
    """The number of the last change of a record that keeps its history; 0 if there is none. A form carries it along."""
    return record.history.order_by("-history_id").values_list("history_id", flat=True).first() or 0


def refuse_changed(record, *, based_on: int | None, what: str) -> None:
    """Raise ChangedMeanwhile if the record was changed after the form was opened."""
    if based_on is not None and last_change(record) != based_on:
        raise ChangedMeanwhile(what)

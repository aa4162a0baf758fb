"""A lineage's own particulars: its names, how sure it is, what the bench takes as given."""

from django.db import IntegrityError, transaction

from propagation.actions.changes import refuse_changed
from propagation.errors import BadValue, NameTaken
from propagation.models import Lineage


@transaction.atomic
def keep_lineage(*, lineage: Lineage, based_on: int | None = None, by=None) -> Lineage:
    """Save a new lineage, or the changed particulars of one.

    Raises BadValue without a name, NameTaken if another lineage is kept under it, ChangedMeanwhile if somebody else
    changed it after ``based_on``.
    """
    lineage.name = " ".join(lineage.name.split())
    if not lineage.name:
        raise BadValue("Give the lineage a name to keep it under.", field="name")
    if lineage.species and not lineage.genus:
        raise BadValue(f"The species “{lineage.species}” needs its genus.", field="genus")
    if lineage.pk:
        stored = Lineage.objects.select_for_update().get(pk=lineage.pk)
        refuse_changed(stored, based_on=based_on, what=f"The lineage {stored.name}")
    lineage._history_user = by
    try:
        with transaction.atomic():
            lineage.save()
    except IntegrityError as error:
        other = Lineage.objects.filter(name__iexact=lineage.name).exclude(pk=lineage.pk).first()
        if other is None:
            raise
        raise NameTaken("lineage", other) from error
    return lineage


def lineage_named(name: str, *, by=None, **particulars) -> Lineage:
    """The lineage kept under this name, in whatever case it is typed; a new one if there is none."""
    name = " ".join(name.split())
    found = Lineage.objects.filter(name__iexact=name).first()
    if found is not None:
        return found
    try:
        return keep_lineage(lineage=Lineage(name=name, **particulars), by=by)
    except NameTaken as error:  # somebody else began it in this very moment
        return error.other

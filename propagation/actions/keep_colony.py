"""A colony's tag and note."""

import re

from django.db import IntegrityError, transaction

from propagation.actions.changes import refuse_changed
from propagation.errors import BadValue, TagTaken
from propagation.models import Colony


def tidy_tag(tag: str) -> str:
    """The tag with its spaces put right. Raises BadValue for one that cannot stand in an address."""
    tidy = " ".join(tag.split())
    if not tidy:
        raise BadValue("Give the colony a tag: what is written on it in the tank.", field="tag")
    if "/" in tidy or "\\" in tidy:
        raise BadValue(f"The tag “{tidy}” cannot hold a slash; write a dash or a dot instead.", field="tag")
    if not re.search(r"\w", tidy):
        raise BadValue(f"The tag “{tidy}” needs a letter or a digit.", field="tag")
    if len(tidy) > 24:
        raise BadValue(f"The tag “{tidy}” is {len(tidy)} characters long; 24 fit on a label.", field="tag")
    return tidy


def save_with_tag(colony: Colony, *, by=None) -> Colony:
    """Save a colony. Raises TagTaken if another has or had its tag."""
    colony.tag = tidy_tag(colony.tag)
    once = Colony.history.filter(tag__iexact=colony.tag).exclude(id=colony.pk)
    if once.exists():
        raise TagTaken(colony.tag)
    colony._history_user = by
    try:
        with transaction.atomic():
            colony.save()
    except IntegrityError as error:
        if Colony.objects.filter(tag__iexact=colony.tag).exclude(pk=colony.pk).exists():
            raise TagTaken(colony.tag) from error
        raise
    return colony


@transaction.atomic
def keep_colony(*, colony: Colony, tag: str, note: str, based_on: int | None = None, by=None) -> Colony:
    """Change what is written on a colony's tag, or its note. Raises AlreadyDone, BadValue, ChangedMeanwhile."""
    colony = Colony.objects.select_for_update().get(pk=colony.pk)
    refuse_changed(colony, based_on=based_on, what=f"The colony {colony.tag}")
    if colony.tag == tag and colony.note == note:
        return colony
    colony.tag, colony.note = tag, note
    return save_with_tag(colony, by=by)

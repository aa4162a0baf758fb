"""Saying whose key it is, after its figures were compared."""

from django.db import IntegrityError, transaction

from labels.models import KnownKey
from propagation.actions.changes import refuse_changed
from propagation.errors import BadValue, NameTaken


@transaction.atomic
def name_key(*, key: KnownKey, name: str, based_on: int | None = None, by=None) -> KnownKey:
    """Give a known key the name of its keeper, or take it away with an empty one.

    Raises BadValue for a name too long, NameTaken if another key has it, ChangedMeanwhile.
    """
    key = KnownKey.objects.select_for_update().get(pk=key.pk)
    refuse_changed(key, based_on=based_on, what="This key")
    key.name = " ".join(name.split())
    if len(key.name) > KnownKey._meta.get_field("name").max_length:
        raise BadValue("This name is too long for a key; 80 characters are enough.", field="name")
    key._history_user = by
    try:
        with transaction.atomic():
            key.save(update_fields=["name"])
    except IntegrityError as error:
        other = KnownKey.objects.filter(name__iexact=key.name).exclude(pk=key.pk).first()
        if other is None:
            raise
        raise NameTaken("key", other, key.name) from error
    return key

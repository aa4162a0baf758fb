"""People, with what stands between them and the keeper."""

from django.db.models import Count, IntegerField, OuterRef, Q, Subquery
from django.db.models.functions import Coalesce

from inventory.models import AcquisitionTerms, Contact, Hold


def _number_of(rows):
    counted = rows.filter(contact=OuterRef("pk")).order_by().values("contact").annotate(number=Count("pk"))
    return Coalesce(Subquery(counted.values("number"), output_field=IntegerField()), 0)


def contacts_with_counts(day):
    """Contacts with ``plugs_held`` on a day and ``acquisitions_from`` them."""
    return Contact.objects.annotate(
        plugs_held=_number_of(Hold.objects.active_on(day)),
        acquisitions_from=_number_of(AcquisitionTerms.objects.all()),
    )


def contacts_matching(contacts, text: str):
    """Those whose name, or how to reach them, holds the text."""
    return contacts.filter(Q(name__icontains=text) | Q(reach__icontains=text))

import django_tables2 as tables
from django.db.models.functions import Lower

from inventory.models import Contact

# A phone leaves out what is not told, and how many of nothing.
NUMERIC = {"td": {"class": lambda value: "numeric" if value else "numeric is-blank"}, "th": {"class": "numeric"}}
REACH = {"td": {"class": lambda record: "across" if record.reach else "across is-blank"}}


class ContactTable(tables.Table):
    empty_icon = "contacts"

    name = tables.Column("Name", linkify=("contact", {"pk": tables.A("pk")}))
    reach = tables.Column("How to reach them", orderable=False, default="–", attrs=REACH)
    plugs_held = tables.Column("Plugs held", attrs=NUMERIC)
    acquisitions_from = tables.Column("Brought in", attrs=NUMERIC)

    class Meta:
        attrs = {"class": "dense"}
        model = Contact
        fields = ()
        order_by = "name"
        empty_text = "No contact fits. Change the filter, or enter a new one."

    def order_name(self, queryset, is_descending):
        name = Lower("name")
        return queryset.order_by(name.desc() if is_descending else name.asc()), True

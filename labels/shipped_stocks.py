"""The label stocks that Ramet ships, from fixtures/label_stocks.json."""

import json

from django.conf import settings
from django.db import connections

SHIPPED = "label_stocks.json"


def install_shipped_stocks(using, **kwargs):
    """A `post_migrate` receiver: puts the shipped stocks into the database by name; the keeper's own stay."""
    from labels.models import LabelStock

    if LabelStock._meta.db_table not in connections[using].introspection.table_names():  # migrated back to nothing
        return
    rows = json.loads((settings.BASE_DIR / "fixtures" / SHIPPED).read_text(encoding="utf-8"))
    shipped = {row["fields"]["name"]: row["fields"] for row in rows}
    known = {stock.name: stock for stock in LabelStock.objects.using(using).filter(name__in=shipped)}
    new = [LabelStock(is_shipped=True, **fields) for name, fields in shipped.items() if name not in known]
    LabelStock.objects.using(using).bulk_create(new)
    changed = []
    for name, stock in known.items():
        different = {key: value for key, value in shipped[name].items() if getattr(stock, key) != value}
        if different:
            for key, value in different.items():
                setattr(stock, key, value)
            changed.append(stock)
    if changed:
        LabelStock.objects.using(using).bulk_update(
            changed, [key for key in next(iter(shipped.values())) if key != "name"]
        )

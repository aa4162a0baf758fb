from django.apps import AppConfig
from django.db.models.signals import post_migrate


class LabelsConfig(AppConfig):
    name = "labels"

    def ready(self):
        from labels import (  # noqa: F401 - fill the registries of the floors below
            agenda_items,
            label_sizes,
            paper_offers,
            provenance,
        )
        from labels.shipped_stocks import install_shipped_stocks

        post_migrate.connect(install_shipped_stocks, sender=self, dispatch_uid="labels.shipped_stocks")

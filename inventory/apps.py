from django.apps import AppConfig
from django.db.models.signals import post_migrate, pre_migrate


class InventoryConfig(AppConfig):
    name = "inventory"

    def ready(self):
        # These fill the registries of the floor below.
        from inventory import (  # noqa: F401
            agenda_items,
            calendar_events,
            earnings,
            in_line,
            kept_elsewhere,
            losses,
            open_pages,
            promises,
            worth,
        )
        from inventory.guards import GUARDS
        from propagation.guards import install_guards, remove_guards

        pre_migrate.connect(remove_guards(GUARDS), sender=self, dispatch_uid="inventory.guards", weak=False)
        post_migrate.connect(install_guards(GUARDS), sender=self, dispatch_uid="inventory.guards", weak=False)

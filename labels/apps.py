from django.apps import AppConfig


class LabelsConfig(AppConfig):
    name = "labels"

    def ready(self):
        from labels import agenda_items  # noqa: F401 - fills the agenda

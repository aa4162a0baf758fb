from django.apps import AppConfig
from django.db.models.signals import post_migrate, pre_migrate


class PropagationConfig(AppConfig):
    name = "propagation"

    def ready(self):
        from propagation.forms.words import speak_in_the_words_of_the_house

        speak_in_the_words_of_the_house()

        from propagation import agenda_items, calendar_events  # noqa: F401 - fill the agenda and the calendar
        from propagation.guards import GUARDS, MARKS, install_guards, remove_guards

        # Django rebuilds tables on SQLite, which drops their triggers: take them away before, put them back after.
        triggers = (*GUARDS, *MARKS)
        pre_migrate.connect(remove_guards(triggers), sender=self, dispatch_uid="propagation.guards", weak=False)
        post_migrate.connect(install_guards(triggers), sender=self, dispatch_uid="propagation.guards", weak=False)

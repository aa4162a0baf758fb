"""Days are written in one way wherever a keeper reads them; programs read them as ISO 8601."""

import re
from datetime import date
from io import StringIO

import pytest
from django.apps import apps
from django.core.management import call_command
from django.db import models
from django.utils import timezone
from django.utils.timezone import localdate

from propagation.dates import day_in_words
from propagation.models import Acquisition
from propagation.readings.changes import changes_of
from tests.factories import AcquisitionFactory, CuttingSessionFactory, HoldFactory, ReadyPlugFactory

ISO = re.compile(r"\b\d{4}-\d\d-\d\d\b")
OURS = [
    model
    for app in ("propagation", "inventory", "labels")
    for model in apps.get_app_config(app).get_models()
    if not model.__name__.startswith("Historical")
]


def unsaved(model, depth=3):
    """One of a model with a day in every field that takes one, and something in all others."""
    made = model()
    for field in model._meta.concrete_fields:
        if isinstance(field, models.DateTimeField):
            setattr(made, field.attname, timezone.now())
        elif isinstance(field, models.DateField):
            setattr(made, field.attname, date(2026, 6, 15))
        elif isinstance(field, models.ForeignKey) and depth and "user" not in field.related_model._meta.label_lower:
            setattr(made, field.name, unsaved(field.related_model, depth - 1))
        elif isinstance(field, models.DecimalField | models.IntegerField | models.FloatField) and not field.primary_key:
            setattr(made, field.attname, field.to_python("1"))
        elif field.choices:
            setattr(made, field.attname, field.flatchoices[0][0])
    return made


@pytest.mark.parametrize("model", OURS, ids=lambda model: model.__name__)
def test_no_record_calls_itself_by_a_day_in_figures(model):
    assert not ISO.search(str(unsaved(model)))


def test_a_session_and_a_hold_say_their_day(db, today):
    session, hold = CuttingSessionFactory(cut_on=date(2026, 6, 5)), HoldFactory(until=today)
    assert str(session) == "Session of 5 Jun 2026"
    assert str(hold).endswith(f"until {day_in_words(today)}")


def test_a_day_that_was_changed_is_told_in_words(db):
    acquisition = AcquisitionFactory(acquired_on=date(2026, 6, 5))
    acquisition.acquired_on = date(2026, 6, 15)
    acquisition.save()
    (change,) = changes_of(Acquisition.objects.get(pk=acquisition.pk), "acquired_on")
    assert change.sentence == "Acquired on: from 5 Jun 2026 to 15 Jun 2026."


def told(*words):
    out = StringIO()
    call_command(*words, stdout=out)
    return out.getvalue()


def test_a_command_says_the_day_to_people_in_words_and_to_programs_in_figures(db):
    plug, today = ReadyPlugFactory(), localdate()
    words = ("--for", "Mira", "--until", str(today))
    assert f"held for Mira until {day_in_words(today)}." in told("hold", plug.code, *words)
    assert f'"until": "{today}"' in told("hold", ReadyPlugFactory().code, *words, "--json")
    sold = told("sell", plug.code, "--to", "Mira", "--price", "25")
    assert f"handed over on {day_in_words(today)}:" in sold

"""Makers of records for tests; each makes what it stands on, and writes rows directly: acts have their own tests."""

from datetime import date, timedelta
from decimal import Decimal

import factory
from factory.django import DjangoModelFactory

from propagation import codes
from propagation.models import (
    Acquisition,
    AllottedCode,
    Colony,
    CutEvent,
    CuttingSession,
    HealingStage,
    Incident,
    Lineage,
    Placement,
    Plug,
    Spot,
    System,
)

LONG_AGO = date(2024, 1, 10)
CUT_DAY = date(2026, 4, 1)


def fresh_code():
    return AllottedCode.objects.create(text=codes.new_code()).text


class LineageFactory(DjangoModelFactory):
    class Meta:
        model = Lineage

    name = factory.Sequence(lambda n: f"Harbour Ember {n}")
    genus = "Acropora"
    species = "millepora"


class SystemFactory(DjangoModelFactory):
    class Meta:
        model = System

    name = factory.Sequence(lambda n: f"Bench tank {n}")
    started_on = date(2023, 1, 1)


class SpotFactory(DjangoModelFactory):
    class Meta:
        model = Spot

    system = factory.SubFactory(SystemFactory)
    name = factory.Sequence(lambda n: f"Ledge {n}")
    par = 250


class RackFactory(SpotFactory):
    name = factory.Sequence(lambda n: f"Rack {n}")
    rack_rows = 4
    rack_columns = 6


class AcquisitionFactory(DjangoModelFactory):
    class Meta:
        model = Acquisition

    lineage = factory.SubFactory(LineageFactory)
    acquired_on = LONG_AGO


class ColonyFactory(DjangoModelFactory):
    """A mother that was acquired as a colony long ago; give `grown_from` for one grown from a plug."""

    class Meta:
        model = Colony

    class Params:
        acquired_on = LONG_AGO

    tag = factory.Sequence(lambda n: f"M{n:03d}")
    code = factory.LazyFunction(fresh_code)
    lineage = factory.SubFactory(LineageFactory)
    grown_from = None
    acquisition = factory.LazyAttribute(
        lambda o: None if o.grown_from else AcquisitionFactory(lineage=o.lineage, acquired_on=o.acquired_on)
    )
    began_on = factory.LazyAttribute(
        lambda o: o.grown_from.began_on + timedelta(days=60) if o.grown_from else o.acquired_on
    )


class PlacementFactory(DjangoModelFactory):
    class Meta:
        model = Placement

    colony = factory.SubFactory(ColonyFactory)
    spot = factory.SubFactory(SpotFactory)
    since = factory.LazyAttribute(lambda o: o.colony.began_on)


class CuttingSessionFactory(DjangoModelFactory):
    class Meta:
        model = CuttingSession

    cut_on = CUT_DAY
    submission = factory.Faker("uuid4")


class CutEventFactory(DjangoModelFactory):
    class Meta:
        model = CutEvent

    session = factory.SubFactory(CuttingSessionFactory)
    mother = factory.SubFactory(ColonyFactory)
    frags = 4
    frag_size_mm = Decimal(25)


class PlugFactory(DjangoModelFactory):
    """A plug of a cut; give `acquisition` for one that came from outside."""

    class Meta:
        model = Plug

    code = factory.LazyFunction(fresh_code)
    acquisition = None
    cut_event = factory.LazyAttribute(lambda o: None if o.acquisition else CutEventFactory())
    lineage = factory.LazyAttribute(lambda o: o.acquisition.lineage if o.acquisition else o.cut_event.mother.lineage)
    began_on = factory.LazyAttribute(
        lambda o: o.acquisition.acquired_on if o.acquisition else o.cut_event.session.cut_on
    )
    checked_on = factory.SelfAttribute("began_on")
    size_mm = Decimal(25)


class ReadyPlugFactory(PlugFactory):
    stage = HealingStage.HEALED
    healed_on = factory.LazyAttribute(lambda o: o.began_on + timedelta(days=21))
    checked_on = factory.SelfAttribute("healed_on")


class IncidentFactory(DjangoModelFactory):
    class Meta:
        model = Incident

    colony = factory.SubFactory(ColonyFactory)
    kind = "browning"
    opened_on = date(2026, 6, 1)


class ContactFactory(DjangoModelFactory):
    class Meta:
        model = "inventory.Contact"

    name = factory.Sequence(lambda n: f"Keeper next door {n}")


class HoldFactory(DjangoModelFactory):
    class Meta:
        model = "inventory.Hold"

    plug = factory.SubFactory(ReadyPlugFactory)
    contact = factory.SubFactory(ContactFactory)
    until = date(2026, 7, 1)
    deposit = None
    deposit_currency = factory.LazyAttribute(lambda hold: "EUR" if hold.deposit else "")
    deposit_fate = factory.LazyAttribute(lambda hold: "lies" if hold.deposit else "")

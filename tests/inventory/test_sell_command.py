"""`manage.py hold` and `manage.py sell`."""

import json
from decimal import Decimal

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.utils.timezone import localdate

from inventory.models import Contact, Hold, LineagePrice, Sale
from propagation.models import Plug
from tests.factories import ColonyFactory, ContactFactory, HoldFactory, ReadyPlugFactory

pytestmark = pytest.mark.django_db


def said(capsys, *words, **options):
    call_command(*words, **options)
    return capsys.readouterr().out


def test_a_plug_is_held(capsys):
    plug = ReadyPlugFactory()
    words = ["hold", plug.code_in_clear, "--for", "Mira", "--until", str(localdate()), "--json"]
    answer = json.loads(said(capsys, *words))
    assert answer == [
        {"code": plug.code_in_clear, "lineage": plug.lineage.name, "for": "Mira", "until": str(localdate())}
    ]
    assert Hold.objects.get().contact.name == "Mira"


def test_who_has_it_is_named_and_nothing_is_held(capsys):
    hold, free = HoldFactory(until=localdate()), ReadyPlugFactory()
    with pytest.raises(CommandError, match=f"is held for {hold.contact}"):
        call_command("hold", hold.plug.code, free.code, "--for", "Mira", "--until", str(localdate()))
    assert Hold.objects.count() == 1
    assert not Contact.objects.filter(name="Mira").exists()


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--until", "tomorrow"], "“tomorrow” is no day"),
        (["--until", "2020-01-01"], "would have ended already"),
    ],
)
def test_a_day_that_cannot_be_is_refused(words, sentence):
    with pytest.raises(CommandError, match=sentence):
        call_command("hold", ReadyPlugFactory().code, "--for", "Mira", *words)


def test_a_name_a_slip_away_is_asked_about():
    ContactFactory(name="Mirabella Tank")
    plug = ReadyPlugFactory()
    for words in (
        ["hold", plug.code, "--for", "Mirabela Tank", "--until", str(localdate())],
        ["sell", plug.code, "--to", "Mirabela Tank", "--price", "5"],
    ):
        with pytest.raises(CommandError, match=r"Mirabella Tank is known.*add --new"):
            call_command(*words)
    call_command(*words, "--new")
    assert Sale.objects.get().contact.name == "Mirabela Tank"


def test_plugs_are_sold_and_paid(capsys):
    plugs = ReadyPlugFactory.create_batch(2)
    codes = [plug.code for plug in plugs]
    answer = json.loads(said(capsys, "sell", *codes, "--to", "Mira", "--price", "12,50", "--paid", "--json"))
    assert answer == {
        "sale": Sale.objects.get().pk,
        "to": "Mira",
        "state": "handed_over",
        "left_on": str(localdate()),
        "lines": [{"code": p.code_in_clear, "lineage": p.lineage.name, "price": "12.50"} for p in plugs],
        "discount": "0.00",
        "due": "25.00",
        "paid": "25.00",
        "owed": "0.00",
        "currency": "EUR",
    }
    assert set(Plug.objects.values_list("fate", flat=True)) == {"sold"}


def test_without_paid_it_is_owed_at_its_usual_price(capsys):
    plug = ReadyPlugFactory()
    LineagePrice.objects.create(lineage=plug.lineage, amount=Decimal(40))
    lines = said(capsys, "sell", plug.code, "--to", "Mira", "--discount", "10%")
    assert "€36.00 in all; €0.00 paid, €36.00 owed." in lines


def test_a_colony_is_sold_by_its_tag(capsys):
    colony = ColonyFactory()
    assert colony.tag in said(
        capsys, "sell", colony.tag, "--to", "Mira", "--price", "200", "--paid", "--method", "card"
    )
    colony.refresh_from_db()
    assert colony.end_reason == "sold"


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--price", "-1"], "cannot be less than nothing"),
        (["--price", "cheap"], "is no amount"),
        ([], "has no price yet"),
        (["--price", "1", "--method", "cash"], "--method goes with --paid"),
        (["--price", "1", "--discount", "2"], "is more than all of it costs"),
        (["--price", "1", "--on", "2999-01-01"], "lies in the future"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_sold(words, sentence):
    with pytest.raises(CommandError, match=sentence):
        call_command("sell", ReadyPlugFactory().code, "--to", "Mira", *words)
    assert not Sale.objects.exists()
    assert not Contact.objects.exists()


def test_what_is_held_for_another_is_sold_only_all_the_same():
    hold = HoldFactory(until=localdate())
    words = ["sell", hold.plug.code, "--to", "Mira", "--price", "5"]
    with pytest.raises(CommandError, match=f"held for {hold.contact}.*add --all-the-same"):
        call_command(*words)
    call_command(*words, "--all-the-same")
    with pytest.raises(CommandError, match="is sold since"):
        call_command(*words)


def test_a_code_that_is_none_is_refused():
    with pytest.raises(CommandError, match="There is no plug or colony “QQQQQQQQ”"):
        call_command("sell", "QQQQQQQQ", "--to", "Mira", "--price", "5")

"""Slips in what is typed: each is named at its field with the way out, and nothing that was typed is lost."""

from datetime import timedelta
from decimal import Decimal
from html import unescape
from html.parser import HTMLParser
from uuid import uuid4

import pytest
from django.urls import reverse
from django.utils.timezone import localdate

from inventory.actions.begin_sale import agree_sale
from inventory.actions.claim import report_claim
from inventory.actions.hand_over import sell_now
from inventory.actions.hold_plugs import hold_plugs, release_hold
from inventory.actions.keep_safe import leave_with
from inventory.models import Payment, PlugPrice, SizePrice, Trade
from propagation.dates import day_in_words
from propagation.models import Preferences
from tests.factories import ColonyFactory, ContactFactory, LineageFactory, ReadyPlugFactory
from tests.inventory.sales import begun, items_of

pytestmark = pytest.mark.django_db

FOREIGN = "Zoë 🪸 عبد الله שלום"
LONG = "x" * 1000


@pytest.fixture
def today():
    return localdate()


class _Page(HTMLParser):
    """The errors of a page by the id of their field, and everything that stands in its fields."""

    def __init__(self, answer):
        super().__init__()
        self.errors, self.kept, self._at, self._in = {}, [], None, None
        self.feed(answer.content.decode())

    def handle_starttag(self, tag, attrs):
        attrs = dict(attrs)
        if tag == "p" and attrs.get("class") == "field-error":
            self._at = attrs.get("id", "").removesuffix("_error").removeprefix("id_")
            self.errors[self._at] = ""
        if tag in ("input", "button") or (tag == "option" and "selected" in attrs):
            self.kept.append(attrs.get("value", ""))
        if tag == "textarea":
            self.kept.append("")
            self._in = tag

    def handle_endtag(self, tag):
        if tag == "p":
            self._at = None
        if tag == "textarea":
            self._in = None

    def handle_data(self, data):
        if self._at is not None:
            self.errors[self._at] = (self.errors[self._at] + data).strip()
        if self._in:
            self.kept[-1] += data


def slip(client, address, typed):
    """Send a form with a slip in it: its errors by field. Whatever was typed must stand in the form again."""
    answer = client.post(address, typed)
    assert answer.status_code in (200, 422), answer.headers.get("Location")
    page = _Page(answer)
    kept = {text.strip() for text in page.kept}
    assert not [text for text in typed.values() if isinstance(text, str) and text.strip() not in kept]
    return page.errors


def agreed(today):
    return agree_sale(sale=begun(today=today, plugs=1), today=today)


@pytest.mark.parametrize(
    ("amount", "said"),
    [
        ("1,2,3", "“1,2,3” is no amount; write it like 25.00."),
        ("-5", "An amount cannot be less than nothing, as -5 is."),
        ("26", "€26.00 is more than the €25.00 still owed"),
        ("0", "nothing is no payment"),
    ],
)
def test_an_amount_that_cannot_be_is_named_at_the_amount(signed_in, today, amount, said):
    address = reverse("sale_pay", args=[agreed(today).pk])
    errors = slip(signed_in, address, {"amount": amount, "method": "cash", "day": str(today), "note": FOREIGN})
    assert list(errors) == ["amount"]
    assert said in errors["amount"]
    assert not Payment.objects.exists()


def test_a_payment_long_before_its_sale_is_asked_about(signed_in, today):
    """In January a hand still writes the old year."""
    sale, slipped = agreed(today), today - timedelta(days=365)
    address = reverse("sale_pay", args=[sale.pk])
    typed = {"amount": "25", "method": "cash", "day": str(slipped), "note": "By hand"}
    errors = slip(signed_in, address, typed)
    assert list(errors) == ["day"]
    assert f"A payment on {day_in_words(slipped)} comes long before" in errors["day"]
    assert "is the year right? If it is, tick the box" in errors["day"]
    assert not Payment.objects.exists()
    assert signed_in.post(address, typed | {"confirmed": "on"}).status_code == 302
    assert Payment.objects.get().paid_on == slipped


def test_a_deposit_some_weeks_before_is_nothing_to_ask_about(signed_in, today):
    address, day = reverse("sale_pay", args=[agreed(today).pk]), today - timedelta(days=90)
    assert signed_in.post(address, {"amount": "25", "method": "cash", "day": str(day)}).status_code == 302
    assert Payment.objects.get().paid_on == day


@pytest.mark.parametrize("day", ["31.02.2026", "tomorrow", "2026-13-01"])
def test_what_is_no_day_is_told_how_days_are_written(signed_in, today, day):
    address = reverse("sale_pay", args=[agreed(today).pk])
    errors = slip(signed_in, address, {"amount": "5", "method": "cash", "day": day, "note": ""})
    assert errors == {"day": "This is no day. Write it like 15 Jun 2026."}
    assert signed_in.post(address, {"amount": "5", "method": "cash", "day": day_in_words(today)}).status_code == 302


@pytest.mark.parametrize(("typed", "said"), [("12,50", "€12.50"), ("1.250", "€1,250.00")])
def test_a_price_that_is_saved_is_said_again(signed_in, typed, said):
    """A comma is a point, and whoever meant another thing than was read sees it."""
    plug = ReadyPlugFactory()
    answer = signed_in.post(reverse("plug_price", args=[plug.code]), {"amount": typed}, follow=True)
    assert f"The price of {plug.code_in_clear} is {said} now." in answer.content.decode()
    assert PlugPrice.objects.get().amount == Decimal(said[1:].replace(",", ""))


def test_the_size_of_a_price_is_refused_where_it_stands_and_in_the_keepers_unit(signed_in):
    address = reverse("size_prices", args=[LineageFactory().pk])
    typed = {"was": "", "from-0": "30", "price-0": "5", "from-1": "0", "price-1": "12,50"}
    assert slip(signed_in, address, typed) == {"from-1": "Such a size cannot be; write one from 1 mm to 999.9 mm."}
    Preferences.objects.update_or_create(pk=1, defaults={"length_unit": "inch"})
    assert slip(signed_in, address, typed)["from-1"].endswith(" in.")
    assert not SizePrice.objects.exists()


def trade_told(**more):
    lines = {"lines-TOTAL_FORMS": "1", "lines-INITIAL_FORMS": "0", "lines-0-lineage": "Harbour Lantern"}
    lines |= {"lines-0-count": "2", "lines-0-growth_form": "branching", "lines-0-size_mm": "12"}
    told = {"contact_name": FOREIGN, "day": str(localdate()), "who_paid": "they", "cash": "7,50", "note": "At the meet"}
    return told | lines | {"submission": str(uuid4()), "act": "save"} | more


def test_a_trade_with_nothing_that_goes_out_says_so_where_one_adds_it(signed_in):
    errors = slip(signed_in, reverse("trade_new"), trade_told(add=""))
    assert list(errors) == ["add"]
    assert errors["add"].startswith("Nothing goes out. Add a plug or a colony by its code")
    assert not Trade.objects.exists()


def test_a_line_of_a_trade_names_what_does_not_fit_in_it(signed_in):
    plug = ReadyPlugFactory()
    wrong = {"lines-0-lineage": LONG, "lines-0-count": "0", "lines-0-size_mm": "big"}
    errors = slip(signed_in, reverse("trade_new"), trade_told(taken=plug.code, offered=plug.code, **wrong))
    assert errors == {
        "lines-0-lineage": "This has 1000 characters; 120 fit.",
        "lines-0-count": "0 is too little; 1 is the least.",
        "lines-0-size_mm": "This is no number. Write it as 8.4.",
    }


def test_the_tag_of_what_came_back_is_refused_at_the_tag(signed_in, today):
    there = ColonyFactory()
    kept = leave_with(plug=ReadyPlugFactory(), contact=ContactFactory(), on=today, today=today)
    typed = {"how": "itself", "day": str(today), "tag": there.tag, "count": "1", "submission": str(uuid4())}
    errors = slip(signed_in, reverse("safekeeping_back", args=[kept.pk]), typed)
    assert errors == {"tag": f"A colony has or had the tag {there.tag}; choose another, tags are never reused."}


def test_how_often_to_ask_is_a_whole_number_of_days(signed_in, today):
    typed = {"plug": ReadyPlugFactory().code, "contact_name": "Mira", "day": str(today), "note": FOREIGN}
    for days, said in (("0", "0 is too little; 1 is the least."), ("x", "This is no whole number. Write it as 8.")):
        errors = slip(signed_in, reverse("safekeeping_new"), typed | {"ask_every_days": days})
        assert errors == {"ask_every_days": said}


def test_a_plug_that_cannot_replace_another_is_refused_at_the_plug(signed_in, today):
    sold, other = ReadyPlugFactory.create_batch(2)
    contact = ContactFactory()
    sale = sell_now(contact=contact, items=items_of(sold, other), today=today)
    claim = report_claim(line=sale.lines.get(plug=sold), kind="dead", on=today, today=today)
    typed = {"outcome": "replaced", "plug": other.code_in_clear, "day": str(today), "amount": "25", "note": FOREIGN}
    errors = slip(signed_in, reverse("claim_settle", args=[claim.pk]), typed)
    assert list(errors) == ["plug"]
    assert f"Plug {other.code_in_clear} is sold" in errors["plug"]


def test_a_deposit_for_a_hold_that_just_ended_names_the_way_out(signed_in, today):
    (hold,) = hold_plugs(plugs=[ReadyPlugFactory()], contact=ContactFactory(), until=today, today=today)
    release_hold(hold=hold, today=today)
    answer = signed_in.post(reverse("hold_deposit", args=[hold.pk]), {"amount": "12,50"})
    page = unescape(answer.content.decode())
    assert answer.status_code == 422
    assert "has ended; hold it again, then write it down." in page
    assert 'value="12,50"' in page


@pytest.mark.parametrize("name", [FOREIGN, "ᚱ" * 120, "<b>Mira</b> & “Co”"])
def test_a_name_in_any_script_is_kept_as_it_was_typed(signed_in, name):
    signed_in.post(reverse("contact_new"), {"name": name, "reach": FOREIGN})
    page = unescape(signed_in.get(reverse("contacts")).content.decode())
    assert name in page
    assert FOREIGN in page


def test_a_name_or_a_note_too_long_is_told_how_much_fits(signed_in):
    errors = slip(signed_in, reverse("contact_new"), {"name": LONG, "reach": LONG, "note": FOREIGN})
    assert errors == {
        "name": "This has 1000 characters; 120 fit.",
        "reach": "This has 1000 characters; 200 fit.",
    }

"""Credit is paid out: never more than there is, once for a form, and withdrawn with a trace."""

from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils.timezone import localdate

from inventory.actions.hand_over import sell_now
from inventory.actions.pay_out_credit import pay_out_credit, withdraw_pay_out
from inventory.actions.pay_sale import refund, take_payment, withdraw_payment
from inventory.errors import BadAmount, ContactForgotten, PaidFromCredit
from inventory.models import Credit, Payment
from inventory.readings.market import tally_of
from inventory.readings.sales import credit_of, totals
from propagation.errors import AlreadyDone, BadDate, BadValue
from tests.factories import ContactFactory, ReadyPlugFactory
from tests.inventory.sales import begun, items_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def contact(today):
    """Somebody with €15.00 of credit."""
    contact = ContactFactory(name="Mira")
    Credit.objects.create(contact=contact, amount=Decimal(15), currency="EUR", on=today - timedelta(days=9))
    return contact


def paid(contact, amount, today, **told):
    return pay_out_credit(contact=contact, amount=Decimal(amount), currency="EUR", today=today, **told)


def test_a_part_and_then_the_rest(contact, today):
    first = paid(contact, 6, today, method="transfer", note=" By hand ", on=today - timedelta(days=1))
    assert (first.amount, first.paid_out_by, first.note, first.on) == (
        -6,
        "transfer",
        "By hand",
        today - timedelta(days=1),
    )
    assert credit_of(contact, "EUR") == 9
    with pytest.raises(BadValue, match=r"Mira has €9\.00 of credit, not €9\.01"):
        paid(contact, "9.01", today)
    paid(contact, 9, today)
    assert credit_of(contact, "EUR") == 0
    with pytest.raises(BadValue, match="Mira has no credit in EUR any more"):
        paid(contact, 1, today)


@pytest.mark.parametrize(
    ("told", "error", "words"),
    [
        ({"amount": 0}, BadValue, "Say how much"),
        ({"amount": -1}, BadAmount, "less than nothing"),
        ({"amount": "0.001"}, BadAmount, "more digits"),
        ({"amount": "NaN"}, BadAmount, "cannot be right"),
        ({"method": "credit"}, BadValue, "no way to pay out"),
        ({"on": timedelta(days=1)}, BadDate, "lies in the future"),
        ({"on": timedelta(days=-10)}, BadDate, "comes before their first credit was given"),
        ({"note": "x" * 201}, BadValue, "201 characters"),
    ],
)
def test_what_cannot_be_is_refused(contact, today, told, error, words):
    told = {"amount": 5} | told
    if "on" in told:
        told["on"] = today + told["on"]
    with pytest.raises(error, match=words):
        paid(contact, today=today, **told)
    assert credit_of(contact, "EUR") == 15


def test_credit_in_another_currency_is_not_touched(contact, today):
    Credit.objects.create(contact=contact, amount=9, currency="USD", on=today)
    with pytest.raises(BadValue, match="not €20"):
        paid(contact, 20, today)
    pay_out_credit(contact=contact, amount=Decimal(9), currency="USD", today=today)
    assert (credit_of(contact, "EUR"), credit_of(contact, "USD")) == (15, 0)


def test_a_form_sent_twice_pays_once(contact, today):
    submission = uuid4()
    first = paid(contact, 5, today, submission=submission)
    assert paid(contact, 5, today, submission=submission) == first
    assert credit_of(contact, "EUR") == 10
    with pytest.raises(AlreadyDone, match=r"paid out €5\.00 already"):
        paid(contact, 6, today, submission=submission)
    withdraw_pay_out(credit=first)
    with pytest.raises(AlreadyDone, match="was withdrawn"):
        paid(contact, 5, today, submission=submission)


def test_two_at_once_pay_out_what_there_is_once(at_once, contact, today):
    answers = at_once([lambda: paid(contact, 15, today).pk for _ in range(3)])
    assert sum(isinstance(answer, int) for answer in answers) == 1
    assert sum(isinstance(answer, BadValue) for answer in answers) == 2


def test_one_pays_out_what_another_uses_and_one_is_refused(at_once, contact, today):
    sale = begun(today=today, contact=contact)

    def use():
        return take_payment(sale=sale, amount=Decimal(15), method="credit", today=today).pk

    answers = at_once([use, lambda: paid(contact, 15, today).pk])
    assert sum(isinstance(answer, int) for answer in answers) == 1
    assert sum(isinstance(answer, BadValue) for answer in answers) == 1


def test_withdrawn_it_is_their_credit_again_and_leaves_a_trace(contact, today, django_user_model):
    keeper = django_user_model.objects.create_user("keeper")
    credit = paid(contact, 15, today)
    withdraw_pay_out(credit=credit, by=keeper)
    assert credit_of(contact, "EUR") == 15
    last = credit.history.latest()
    assert (last.history_user, last.withdrawn_at is not None) == (keeper, True)
    with pytest.raises(AlreadyDone, match="withdrawn already"):
        withdraw_pay_out(credit=credit)
    with pytest.raises(BadValue, match="was not paid out"):
        withdraw_pay_out(credit=Credit.objects.get(amount__gt=0))
    paid(contact, 15, today)
    assert credit_of(contact, "EUR") == 0


def test_nothing_is_paid_out_to_somebody_forgotten_or_merged(contact, today):
    credit = paid(contact, 5, today)
    contact.forgotten_on = today
    contact.save()
    with pytest.raises(ContactForgotten):
        paid(contact, 5, today)
    with pytest.raises(ContactForgotten):
        withdraw_pay_out(credit=credit)


@pytest.mark.parametrize(
    "wrong",
    [
        {"amount": 5, "paid_out_by": "cash"},
        {"amount": -5, "paid_out_by": "credit"},
        {"amount": -5, "paid_out_by": "shells"},
        {"amount": -5, "withdrawn_at": "2026-06-01T12:00Z"},
    ],
)
def test_the_database_refuses_what_is_no_pay_out(contact, today, wrong):
    with pytest.raises(IntegrityError), transaction.atomic():
        Credit.objects.create(contact=contact, currency="EUR", on=today, **wrong)


def test_cash_paid_out_is_missing_in_the_box(contact, today):
    paid(contact, 5, today)
    paid(contact, 4, today, method="transfer")
    withdraw_pay_out(credit=paid(contact, 3, today))
    assert tally_of(today).cash == {"EUR": -5}


def test_credit_that_came_of_a_refund_and_was_paid_out_cannot_be_taken_back(today):
    sale = sell_now(contact=ContactFactory(), items=items_of(ReadyPlugFactory()), today=today)
    back = refund(sale=sale, amount=Decimal(25), today=today, method="credit")
    paid(sale.contact, 20, today)
    with pytest.raises(BadValue, match=r"€5\.00 of credit, not €25\.00"):
        withdraw_payment(payment=back, today=today)


# -- what was paid from credit goes back


@pytest.fixture
def mixed(contact, today):
    """A sale of €25.00, of which €15.00 came from credit and €10.00 in cash."""
    sale = sell_now(contact=contact, items=items_of(ReadyPlugFactory()), today=today, paid=False)
    for amount, method in ((15, "credit"), (10, "cash")):
        take_payment(sale=sale, amount=Decimal(amount), method=method, today=today)
    return sale


def test_money_goes_back_first_and_the_rest_only_knowingly(mixed, today):
    refund(sale=mixed, amount=Decimal(8), today=today, in_money=False)
    sums = totals(mixed)
    assert (sums.in_money, sums.to_credit) == (2, 15)
    with pytest.raises(PaidFromCredit, match=r"Only €2\.00 of it was paid in money"):
        refund(sale=mixed, amount=Decimal(3), today=today, in_money=False)
    refund(sale=mixed, amount=Decimal(3), today=today)
    assert (totals(mixed).in_money, totals(mixed).to_credit) == (0, 14)
    with pytest.raises(PaidFromCredit, match="Nothing of it was paid in money"):
        refund(sale=mixed, amount=Decimal(1), today=today, method="card", in_money=False)
    refund(sale=mixed, amount=Decimal(14), today=today, method="credit", in_money=False)
    assert credit_of(mixed.contact, "EUR") == 14


def test_the_page_proposes_credit_and_asks_before_it_goes_back_in_money(signed_in, contact):
    day = localdate()
    sale = sell_now(contact=contact, items=items_of(ReadyPlugFactory(), price=15), today=day, method="credit")
    address = reverse("sale_refund", args=[sale.pk])
    page = signed_in.get(address)
    assert "It came from their credit and is kept as that" in page.text
    assert page.context["form"]["method"].value() == "credit"
    told = {"amount": "15", "method": "cash", "day": day}
    asked = signed_in.post(address, told)
    assert asked.status_code == 422
    assert "the rest came from their credit" in asked.text
    assert 'type="checkbox" name="in_money"' in asked.text
    assert not sale.payments.filter(kind=Payment.Kind.REFUND).exists()
    signed_in.post(address, told | {"in_money": "on"})
    assert sale.payments.get(kind=Payment.Kind.REFUND).method == "cash"
    assert credit_of(contact, "EUR") == 0


# -- pages


def test_from_the_contact_to_a_pay_out_and_back(signed_in, contact):
    here, pay = reverse("contact", args=[contact.pk]), reverse("contact_credit_pay_out", args=[contact.pk])
    page = signed_in.get(here).text
    assert f'href="{pay}?currency=EUR"' in page
    form = signed_in.get(f"{pay}?currency=EUR")
    assert 'value="15.00"' in form.text
    told = {"amount": "20", "method": "cash", "day": localdate(), "submission": uuid4()}
    refused = signed_in.post(f"{pay}?currency=EUR", told)
    assert (refused.status_code, "Mira has €15.00 of credit, not €20.00." in refused.text) == (422, True)
    for _ in range(2):  # sent twice
        page = signed_in.post(f"{pay}?currency=EUR", told | {"amount": "15"}, follow=True).text
        assert "€15.00 of credit is paid out to Mira." in page
    assert "Paid out, cash" in page
    assert "Nothing of it is left." in page
    assert signed_in.get(f"{pay}?currency=EUR")["Location"] == here
    credit = Credit.objects.get(paid_out_by="cash")
    withdraw = reverse("credit_withdraw", args=[credit.pk])
    assert withdraw in page
    assert signed_in.get(withdraw).status_code == 405
    page = signed_in.post(withdraw, follow=True).text
    assert "it is their credit again" in page
    assert "<s>−€15.00</s>" in page
    assert withdraw not in page
    assert "was withdrawn already" in signed_in.post(withdraw, follow=True).text
    every = signed_in.get(reverse("contact_all", args=[contact.pk, "credit"])).text
    assert "<s>−€15.00</s>" in every


@pytest.mark.parametrize("query", ["", "?currency=USD", "?currency=%00", "?currency=nothing"])
def test_without_credit_there_is_nothing_to_pay_out(signed_in, contact, query):
    answer = signed_in.get(reverse("contact_credit_pay_out", args=[contact.pk]) + query, follow=True)
    assert "no credit" in answer.text
    told = {"amount": "1", "method": "cash", "day": localdate(), "submission": uuid4()}
    answer = signed_in.post(reverse("contact_credit_pay_out", args=[contact.pk]) + query, told)
    assert answer.status_code == 422
    assert not Credit.objects.exclude(paid_out_by="").exists()


def test_the_ledger_names_it(signed_in, contact):
    paid(contact, 5, localdate())
    page = signed_in.get(reverse("ledger_of_year", args=[localdate().year])).text
    assert "Paid out of their credit, cash" in page
    assert "−€5.00" in page

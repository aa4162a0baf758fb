"""The books as pages: of all lines, of one, of one mother."""

from datetime import date
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils.timezone import localdate

from inventory.models import AcquisitionTerms, Sale
from propagation.models import Acquisition
from tests.factories import ColonyFactory, CutEventFactory, LineageFactory, PlugFactory
from tests.inventory.test_books import frag_of, sold

pytestmark = pytest.mark.django_db


def mother_of(name, paid, *prices, kind=Acquisition.Kind.BOUGHT):
    """A mother of a line of this name that cost so much, with a frag sold today for each price."""
    mother = ColonyFactory(lineage=LineageFactory(name=name), acquired_on=date(2025, 1, 10))
    Acquisition.objects.filter(pk=mother.acquisition_id).update(kind=kind)
    AcquisitionTerms.objects.create(acquisition=mother.acquisition, amount=paid, currency="" if paid is None else "EUR")
    for price in prices:
        sold(frag_of(mother), price=price, on=localdate())
    return mother


def shown(client, name="books", *args, **query):
    answer = client.get(reverse(name, args=args), query)
    assert answer.status_code == 200
    return answer.content.decode()


def lines_of(answer) -> list[str]:
    return [row.lineage.name for row in answer.context["rows"]]


@pytest.fixture
def three_lines():
    return (
        mother_of("Quarry Ember", 40, 28),
        mother_of("Quarry Moss", 20, 25, 5),
        mother_of("Tin Lantern", None, 10, kind="gift"),
    )


def test_each_line_says_when_it_paid_for_itself(signed_in, three_lines):
    page = shown(signed_in)
    assert "Not yet: €12.00 to go" in page
    assert f"Paid for itself on {localdate():%-d %b %Y}" in page
    assert "Nothing was paid for it" in page


def test_the_last_row_is_the_sum_of_the_lines(signed_in, three_lines):
    page = shown(signed_in)
    foot = page[page.index("<tfoot") : page.index("</tfoot>")]
    assert "€60.00" in foot  # paid
    assert "€68.00" in foot  # came in
    assert "€8.00" in foot  # left over


def test_the_sum_is_that_of_the_lines_that_fit(signed_in, three_lines):
    page = shown(signed_in, q="quarry")
    foot = page[page.index("<tfoot") : page.index("</tfoot>")]
    assert "€58.00" in foot
    assert "Tin Lantern" not in page


def test_lines_are_narrowed_by_name_and_by_how_far_they_are(signed_in, three_lines):
    address = reverse("books")
    assert lines_of(signed_in.get(address, {"q": "MOSS"})) == ["Quarry Moss"]
    assert lines_of(signed_in.get(address, {"state": "not_yet"})) == ["Quarry Ember"]
    assert lines_of(signed_in.get(address, {"state": "yes"})) == ["Quarry Moss"]
    assert lines_of(signed_in.get(address, {"state": "nothing_paid"})) == ["Tin Lantern"]
    assert len(lines_of(signed_in.get(address, {"state": "nonsense"}))) == 3


def test_where_no_line_fits_the_way_back_is_told(signed_in, three_lines):
    page = shown(signed_in, q="nowhere")
    assert "No line is like that." in page
    assert "Show all lines" in page


@pytest.mark.parametrize(
    ("sort", "first"), [("came_in", "Tin Lantern"), ("-came_in", "Quarry Moss"), ("-cost", "Quarry Ember")]
)
def test_lines_are_sorted_by_what_is_tapped(signed_in, three_lines, sort, first):
    page = shown(signed_in, sort=sort)
    body = page[page.index("<tbody") :]
    names = sorted(("Quarry Ember", "Quarry Moss", "Tin Lantern"), key=body.index)
    assert names[0] == first


def test_without_a_line_the_way_on_is_to_bring_one_in(signed_in):
    page = shown(signed_in)
    assert "No line yet" in page
    assert reverse("acquire") in page


def test_the_rules_of_sharing_stand_on_every_page(signed_in, three_lines):
    mother = three_lines[0]
    for address in (
        reverse("books"),
        reverse("book", args=[mother.lineage_id]),
        reverse("book_of_mother", args=[mother.tag]),
    ):
        assert "no price is made up for them" in signed_in.get(address).content.decode()


def test_the_book_of_a_line_has_its_picture_mothers_and_costs(signed_in, three_lines):
    mother = three_lines[1]
    page = shown(signed_in, "book", mother.lineage_id)
    assert "Quarry Moss: what came in against what was paid" in page
    assert f"It paid for itself on {localdate():%-d %b %Y}." in page  # in words beside the picture
    assert reverse("book_of_mother", args=[mother.tag]) in page
    assert reverse("acquisition", args=[mother.acquisition_id]) in page


def test_a_cost_that_is_not_known_can_be_written_down(signed_in):
    mother = mother_of("Old Ember", None)
    page = shown(signed_in, "book", mother.lineage_id)
    assert "What it cost is not known" in page
    assert reverse("acquisition_edit", args=[mother.acquisition_id]) in page
    assert "No money yet" in page


def test_what_is_owed_stands_below_what_came_in(signed_in, three_lines):
    sold(frag_of(three_lines[0]), price=30, on=localdate(), paid=False)
    page = shown(signed_in, q="Quarry Ember")
    assert "€28.00<br>" in page
    assert "€30.00 owed" in page


def test_frags_sold_without_a_sale_are_owned_up_to(signed_in):
    mother = mother_of("Old Ember", 10)
    PlugFactory(cut_event=CutEventFactory(mother=mother), fate="sold", ended_on=localdate())
    assert "1 frag was marked as sold without a sale" in shown(signed_in)
    assert "1 without a sale: nothing is known of the money" in shown(signed_in, "book", mother.lineage_id)


def test_the_book_of_a_mother_is_found_from_her_page(signed_in, three_lines):
    mother = three_lines[0]
    assert reverse("book_of_mother", args=[mother.tag]) in shown(signed_in, "colony", mother.tag)
    assert reverse("book", args=[mother.lineage_id]) in shown(signed_in, "lineage", mother.lineage_id)
    page = shown(signed_in, "book_of_mother", mother.tag)
    assert "Not yet: €12.00 to go" in page
    assert "Bought." in page


def test_a_currency_has_books_of_its_own(signed_in, three_lines):
    assert "currency=USD" not in shown(signed_in)
    sale = sold(frag_of(three_lines[0]), price=70, on=localdate())
    Sale.objects.filter(pk=sale.pk).update(currency="USD")
    assert "$70.00" not in shown(signed_in)
    page = shown(signed_in, currency="USD")
    assert "$70.00" in page
    assert "Currencies are never added up." in page
    assert Decimal(70) == signed_in.get(reverse("books"), {"currency": "USD"}).context["books"].came_in


@pytest.mark.parametrize(("name", "args"), [("book", [999]), ("book_of_mother", ["NOSUCH"])])
def test_what_there_is_not_is_not_found(signed_in, name, args):
    assert signed_in.get(reverse(name, args=args)).status_code == 404


def test_the_pages_cost_the_same_queries_however_many_lines(signed_in, three_lines, django_assert_max_num_queries):
    def queries(name, *args):
        with django_assert_max_num_queries(40) as found:
            shown(signed_in, name, *args)
        return len(found)

    mother = three_lines[0]
    few = [
        queries("books"),
        queries("book", mother.lineage_id),
        queries("book_of_mother", mother.tag),
    ]
    for number in range(5):
        mother_of(f"Harbour Ember {number}", 10, 20)
        other = ColonyFactory(lineage=mother.lineage)
        sold(frag_of(other), price=10, on=localdate())
    many = [
        queries("books"),
        queries("book", mother.lineage_id),
        queries("book_of_mother", mother.tag),
    ]
    assert few == many

"""The labels page, print runs and stocks."""

from uuid import uuid4

import pytest
from django.urls import reverse

from labels.models import LabelStock, PrintRun
from labels.readings.stocks import FIRST_STOCK, find_stock
from tests.factories import ColonyFactory, PlugFactory
from tests.labels.test_print_labels import codes_on

pytestmark = pytest.mark.django_db


@pytest.fixture
def form():
    return {"submission": str(uuid4()), "stock": find_stock(FIRST_STOCK).pk, "start": "1", "dpi": "300"}


def own_stock(**changes):
    return {
        "name": "My strips",
        "kind": "sheet",
        "page_width_mm": "210",
        "page_height_mm": "297",
        "label_width_mm": "60",
        "label_height_mm": "30",
        "columns": "3",
        "rows": "9",
        "left_mm": "10",
        "top_mm": "10",
        "pitch_x_mm": "64",
        "pitch_y_mm": "31",
        "corner_radius_mm": "0",
        **changes,
    }


def test_the_page_offers_what_is_not_printed_yet(signed_in):
    PlugFactory.create_batch(3)
    page = signed_in.get(reverse("labels")).content.decode()
    assert "3 labels" in page


def test_with_everything_printed_the_page_says_so_and_leads_on(signed_in):
    page = signed_in.get(reverse("labels")).content.decode()
    assert "Every plug has its label" in page


def test_printing_a_session_leads_to_its_pdf(signed_in, form):
    plug = PlugFactory()
    PlugFactory()
    done = signed_in.post(reverse("labels_print"), {**form, "session": plug.cut_event.session_id})
    run = PrintRun.objects.get()
    assert done.url == reverse("print_run", args=[run.pk])
    pdf = signed_in.get(reverse("print_run_pdf", args=[run.pk]))
    assert pdf["Content-Type"] == "application/pdf"
    assert {text[-8:] for text in codes_on(pdf.content)} == {plug.code}


def test_plugs_by_code_or_id_and_colonies_by_tag_print_together(signed_in, form):
    first, second, colony = PlugFactory(), PlugFactory(), ColonyFactory()
    signed_in.post(
        reverse("labels_print"),
        {**form, "plugs": [f"{first.pk},{second.code_in_clear}"], "colonies": [colony.tag]},
    )
    run = PrintRun.objects.get()
    assert {label.plug or label.colony for label in run.labels.all()} == {first, second, colony}


def test_a_double_click_makes_one_run(signed_in, form):
    PlugFactory()
    for _ in range(2):
        signed_in.post(reverse("labels_print"), form)
    assert PrintRun.objects.count() == 1


def test_a_start_beyond_the_sheet_is_named_and_what_was_chosen_stays(signed_in, form):
    plug = PlugFactory()
    answer = signed_in.post(reverse("labels_print"), {**form, "start": "900", "plugs": plug.code})
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "start at 1 to 65" in page
    assert plug.code in page
    assert not PrintRun.objects.exists()


@pytest.mark.parametrize("query", ["session=999", "session=abc", "plugs=K7M42QXQ", "colonies=NOPE", "plugs=²"])
def test_what_does_not_exist_is_named(signed_in, query):
    answer = signed_in.get(f"{reverse('labels')}?{query}")
    assert answer.status_code == 200
    assert answer.context["messages"]


def test_a_local_address_is_warned_about(signed_in):
    PlugFactory()
    assert "A phone cannot open these codes" in signed_in.get(reverse("labels"), HTTP_HOST="127.0.0.1").content.decode()


def test_a_run_can_be_printed_again(signed_in, form):
    plug = PlugFactory()
    signed_in.post(reverse("labels_print"), form)
    page = signed_in.get(reverse("print_run", args=[PrintRun.objects.get().pk]))
    assert f"plugs={plug.code}" in page.context["again"]
    assert signed_in.get(page.context["again"]).context["chosen"].plugs == [plug]


def test_printed_before_lists_the_runs(signed_in, form):
    assert "Nothing was printed yet" in signed_in.get(reverse("print_runs")).content.decode()
    PlugFactory()
    signed_in.post(reverse("labels_print"), form)
    assert FIRST_STOCK in signed_in.get(reverse("print_runs")).content.decode()


def test_a_keeper_defines_a_stock_and_prints_its_outline(signed_in):
    signed_in.post(reverse("stock_new"), own_stock())
    stock = LabelStock.objects.get(name="My strips")
    assert not stock.is_shipped
    assert signed_in.get(reverse("stock_outline", args=[stock.pk])).content.startswith(b"%PDF")
    signed_in.post(reverse("stock_edit", args=[stock.pk]), own_stock(left_mm="9"))
    stock.refresh_from_db()
    assert stock.left_mm == 9


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"pitch_x_mm": "50"}, "overlap"),
        ({"left_mm": "60"}, "page"),
        ({"label_width_mm": "-3"}, "too little"),
        ({"columns": "0"}, "too little"),
    ],
)
def test_a_stock_that_cannot_be_is_refused_with_the_reason(signed_in, change, word):
    answer = signed_in.post(reverse("stock_new"), own_stock(**change))
    assert answer.status_code == 422
    assert word in answer.content.decode()
    assert not LabelStock.objects.filter(name="My strips").exists()


def test_a_shipped_stock_is_copied_not_changed(signed_in):
    stock = find_stock(FIRST_STOCK)
    answer = signed_in.get(reverse("stock_edit", args=[stock.pk]), follow=True)
    assert answer.context["form"].initial["label_width_mm"] == stock.label_width_mm
    signed_in.post(reverse("stock_edit", args=[stock.pk]), own_stock(name=stock.name))
    assert find_stock(FIRST_STOCK).label_width_mm == stock.label_width_mm


def test_two_stocks_of_one_name_are_refused(signed_in):
    answer = signed_in.post(reverse("stock_new"), own_stock(name=FIRST_STOCK.upper()))
    assert "already" in answer.content.decode()

"""Printing labels."""

import io
from datetime import date
from uuid import uuid4

import pypdfium2
import pytest
import zxingcpp

from labels.actions.print_labels import print_labels
from labels.contents import address_of
from labels.errors import CannotPrint, NothingToPrint
from labels.models import LabelStock, PrintedLabel, PrintRun
from labels.readings.stocks import FIRST_STOCK, find_stock
from propagation.errors import PlugGone
from propagation.models import CutEvent
from tests.factories import AcquisitionFactory, ColonyFactory, PlugFactory

pytestmark = pytest.mark.django_db

BASE = "https://ramet.example"


def codes_on(pdf: bytes) -> set[str]:
    """What a decoder that did not draw them reads on every page."""
    document = pypdfium2.PdfDocument(io.BytesIO(pdf))
    return {
        found.text
        for page in document
        for found in zxingcpp.read_barcodes(page.render(scale=300 / 72).to_pil().convert("L"))
    }


@pytest.fixture
def stock():
    return find_stock(FIRST_STOCK)


def test_the_labels_link_each_plug_and_colony(stock):
    plugs, colony = PlugFactory.create_batch(3), ColonyFactory()
    _, sheet = print_labels(stock=stock, base_address=BASE, plugs=plugs, colonies=[colony])
    assert codes_on(sheet.pdf) == {address_of(BASE, one.code) for one in [*plugs, colony]}


def test_printing_marks_them_labelled_and_remembers_the_run(stock):
    plug = PlugFactory()
    run, _ = print_labels(stock=stock, base_address=BASE, plugs=[plug], dpi=203, start=5)
    plug.refresh_from_db()
    assert plug.labelled_at is not None
    label = run.labels.get()
    assert (run.dpi, run.start, label.plug, label.is_reprint) == (203, 5, plug, False)
    assert (label.lineage_name, label.mother_tag) == (plug.lineage.name, plug.cut_event.mother.tag)
    assert label.module_mm > 0.25


def test_a_second_print_is_a_reprint_and_keeps_the_first_day(stock):
    plug = PlugFactory()
    print_labels(stock=stock, base_address=BASE, plugs=[plug])
    plug.refresh_from_db()
    first = plug.labelled_at
    print_labels(stock=stock, base_address=BASE, plugs=[plug])
    plug.refresh_from_db()
    assert plug.labelled_at == first
    assert list(PrintedLabel.objects.order_by("id").values_list("is_reprint", flat=True)) == [False, True]


def test_nothing_chosen_prints_nothing(stock):
    with pytest.raises(NothingToPrint):
        print_labels(stock=stock, base_address=BASE)
    assert not PrintRun.objects.exists()


def test_a_void_plug_gets_no_label(stock):
    plug = PlugFactory(fate="void", ended_on=date(2026, 4, 2))
    with pytest.raises(PlugGone):
        print_labels(stock=stock, base_address=BASE, plugs=[plug])


def test_a_start_beyond_the_sheet_is_refused_and_nothing_is_recorded(stock):
    plug = PlugFactory()
    with pytest.raises(CannotPrint):
        print_labels(stock=stock, base_address=BASE, plugs=[plug], start=500)
    plug.refresh_from_db()
    assert plug.labelled_at is None
    assert not PrintRun.objects.exists()


def test_a_run_takes_the_same_number_of_queries_whatever_the_count(stock, django_assert_max_num_queries):
    plugs = PlugFactory.create_batch(30)
    with django_assert_max_num_queries(12):
        print_labels(stock=stock, base_address=BASE, plugs=plugs)


def test_the_shipped_stocks_are_there_after_migrating_and_are_told_from_the_keepers_own():
    assert LabelStock.objects.filter(is_shipped=True).count() >= 8


def test_the_same_form_sent_twice_is_one_run(stock):
    plug, form = PlugFactory(), uuid4()
    first, _ = print_labels(stock=stock, base_address=BASE, plugs=[plug], submission=form)
    second, sheet = print_labels(stock=stock, base_address=BASE, plugs=[plug], submission=form)
    assert first == second
    assert PrintedLabel.objects.count() == 1
    assert codes_on(sheet.pdf) == {address_of(BASE, plug.code)}


def test_a_label_goes_stale_when_what_it_says_is_corrected(stock):
    plug, other = PlugFactory.create_batch(2)
    print_labels(stock=stock, base_address=BASE, plugs=[plug, other])
    assert not PrintedLabel.objects.stale().exists()
    CutEvent.objects.filter(pk=plug.cut_event_id).update(mother=ColonyFactory(lineage=plug.lineage))
    assert [label.plug for label in PrintedLabel.objects.stale()] == [plug]
    print_labels(stock=stock, base_address=BASE, plugs=[plug])
    assert not PrintedLabel.objects.stale().exists()


def test_the_label_of_an_acquired_plug_is_not_stale(stock):
    plug = PlugFactory(acquisition=AcquisitionFactory())
    print_labels(stock=stock, base_address=BASE, plugs=[plug])
    assert not PrintedLabel.objects.stale().exists()

"""Whatever is asked, a page answers with a page: no odd address or query breaks it."""

import pytest
from django.urls import reverse
from django.utils.timezone import localdate

from tests.factories import ColonyFactory, HoldFactory, IncidentFactory, PlugFactory, RackFactory, ReadyPlugFactory
from tests.inventory.sales import begun

pytestmark = pytest.mark.django_db

LISTS = [
    "today",
    "cut",
    "cut_mothers",
    "sessions",
    "rack",
    "lineages",
    "systems",
    "colonies",
    "incidents",
    "water",
    "absences",
    "absence_new",
    "calendar",
    "trace",
    "ready",
    "ready_lines",
    "orders",
    "forecasts",
    "tried_on_past",
    "ready_soon",
    "healing",
    "yield_record",
    "compare_systems",
    "ready_csv",
    "available",
    "offers",
    "pack_new",
    "ready_print",
    "holds",
    "hold_many",
    "sales",
    "sale_new",
    "trades",
    "trade_new",
    "safekeeping",
    "safekeeping_new",
    "claims",
    "prices",
    "contacts",
    "acquire",
    "acquire_colony",
    "acquire_plugs",
    "passports",
    "labels",
    "print_runs",
    "stocks",
    "stock_new",
    "plugs_left",
    "incident_new",
    "photos",
    "photos_add",
    "photo_review",
]
ODD = ["", "x", "-1", "0", "99999999999999999999999", "1e9", "²", "🪸", "%00", "'", '"><b>', "K7M42QXQ", "a" * 3000]
NAMES = [
    "page",
    "q",
    "frags",
    "day",
    "sort",
    "lineage",
    "system",
    "rack",
    "state",
    "incident",
    "unmeasured",
    "mother",
    "session",
    "plugs",
    "colonies",
    "what",
    "stock",
    "like",
    "start",
    "dpi",
    "colony",
    "returned",
    "kind",
    "growth_form",
    "size_min",
    "age_min",
    "skip",
    "contact",
    "alive",
    "by",
    "text",
    "which",
    "first",
    "second",
    "youngest",
    "oldest",
]


@pytest.fixture
def records():
    rack = RackFactory()
    ReadyPlugFactory(rack=rack, rack_row=1, rack_column=1)
    HoldFactory()
    IncidentFactory(colony=ColonyFactory())
    PlugFactory(rack=RackFactory())  # still healing, and in a second system


@pytest.mark.usefixtures("records")
@pytest.mark.parametrize("name", LISTS)
def test_no_odd_query_breaks_a_page(signed_in, name):
    for value in ODD:
        answer = signed_in.get(reverse(name), dict.fromkeys(NAMES, value))
        assert answer.status_code < 500, f"{name} with {value[:20]!r}"


@pytest.mark.usefixtures("records")
@pytest.mark.parametrize("odd", [value for value in ODD if value and "/" not in value])
def test_no_odd_code_or_tag_breaks_a_page(signed_in, odd):
    for name in [
        "plug",
        "plug_grow_on",
        "plug_correct",
        "hold",
        "plug_price",
        "plug_offer",
        "plug_wait",
        "plug_left",
        "trace_plug",
        "trace_json",
        "trace_svg",
        "passport_of",
        "scan",
        "available_secret",
    ]:
        assert signed_in.get(reverse(name, args=[odd])).status_code < 500, name
    for name in [
        "colony",
        "colony_plan",
        "colony_cut_rule",
        "colony_edit",
        "colony_move",
        "colony_measure",
        "colony_end",
    ]:
        assert signed_in.get(reverse(name, args=[odd])).status_code < 500, name


@pytest.mark.parametrize("number", [0, 99999999999999999999999])
def test_no_odd_number_breaks_a_page(signed_in, number):
    for name in [
        "session",
        "session_correct",
        "rack_grid",
        "lineage",
        "lineage_edit",
        "lineage_cut_rule",
        "system",
        "system_edit",
        "system_water",
        "water_test",
        "system_end",
        "system_restart",
        "spot_new",
        "spot_edit",
        "incident_close",
        "contact",
        "contact_edit",
        "contact_same",
        "contact_forget",
        "contact_credit_pay_out",
        "acquisition",
        "acquisition_edit",
        "print_run",
        "print_run_pdf",
        "sale",
        "trade",
        "safekeeping_one",
        "claim",
        "claim_new",
        "claim_settle",
        "claim_picture",
        "photo_round",
        "photo",
        "photo_original",
        "photo_screen",
        "photo_thumbnail",
        "safekeeping_heard",
        "safekeeping_back",
        "safekeeping_end",
        "hold_deposit",
        "sale_change",
        "sale_pay",
        "sale_refund",
        "sale_hand_over",
        "sale_close",
        "sale_cancel",
        "stock_edit",
        "stock_outline",
        "passport",
        "passport_file",
        "key_name",
    ]:
        assert signed_in.get(reverse(name, args=[number])).status_code < 500, name


def test_an_empty_form_sent_anywhere_is_answered(signed_in):
    plug, colony = PlugFactory(), ColonyFactory()
    for name in [
        "cut",
        "plugs_heal",
        "plugs_dead",
        "plugs_insurance",
        "plugs_move",
        "labels_print",
        "hold_many",
        "sale_new",
        "trade_new",
        "safekeeping_new",
        "prices",
        "read_picture",
        "photos_add",
        "passport_read",
        "passport_import",
    ]:
        assert signed_in.post(reverse(name), {}).status_code < 500, name
    sale = begun(today=localdate())
    for name in [
        "sale_change",
        "sale_pay",
        "sale_refund",
        "sale_hand_over",
        "sale_close",
        "sale_undo",
        "sale_undo_now",
        "sale_reopen",
        "sale_cancel",
        "sale_agree",
    ]:
        assert signed_in.post(reverse(name, args=[sale.pk]), {}).status_code < 500, name
    for name in ["plug_grow_on", "plug_correct", "plug_void", "hold", "plug_price", "plug_left"]:
        assert signed_in.post(reverse(name, args=[plug.code]), {}).status_code < 500, name
    for name in ["colony_edit", "colony_move", "colony_measure", "colony_end"]:
        assert signed_in.post(reverse(name, args=[colony.tag]), {}).status_code < 500, name

"""Every page, on the demo records: fit for everybody, no wider than the glass, without a fault in the console."""

from datetime import date, timedelta
from decimal import Decimal
from urllib.parse import quote

import pytest
from django.urls import reverse
from django.utils import timezone
from django.utils.timezone import localdate

from inventory.actions.acquire_from import Deal
from inventory.actions.begin_sale import agree_sale, begin_sale, close_sale
from inventory.actions.claim import report_claim
from inventory.actions.forget_contact import forget_contact
from inventory.actions.hand_over import sell_now
from inventory.actions.hold_plugs import hold_plugs
from inventory.actions.keep_contact import contact_named
from inventory.actions.keep_safe import leave_with
from inventory.actions.offer_frags import make_pack, offer_plug
from inventory.actions.pay_out_credit import pay_out_credit
from inventory.actions.pay_sale import take_payment, withdraw_payment
from inventory.actions.sale_steps import SaleItem
from inventory.actions.trade import trade
from inventory.models import Availability, Credit
from inventory.readings.availability import available_on
from inventory.views.contacts import KINDS
from labels.actions.import_passport import import_passport
from labels.actions.print_labels import print_labels
from labels.demo_scenario import DemoScenario
from labels.readings.stocks import FIRST_STOCK, find_stock
from propagation.actions.accept_measurement import accept_measurement
from propagation.actions.acquire import PackLine
from propagation.actions.make_film import ask_for_film, make_growth_film
from propagation.actions.measure_photo import mend_outline
from propagation.actions.sort_photo import show_photo
from propagation.models import Acquisition, Colony, CuttingSession, Fate, Incident, PhotoRound, Plug, Spot, System
from tests.browser.accessibility import broken_rules, px_too_wide
from tests.labels import passport_samples
from tests.propagation.film_samples import grown
from tests.propagation.photo_samples import as_file, kept, picture, picture_of, printed

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


def claim_with_everything(contact, keeper):
    """A claim for one of two plugs that were sold today, to be settled."""
    today = localdate()
    plugs = list(available_on(today).order_by("-pk")[1:3])
    sale = sell_now(
        contact=contact, items=[SaleItem(plug=plug, price=Decimal(25)) for plug in plugs], today=today, by=keeper
    )
    return report_claim(
        line=sale.lines.first(), kind="dead", on=today, today=today, words="White on arrival", by=keeper
    )


def forgotten_contact(keeper):
    """Somebody who bought a plug once and wished to be forgotten."""
    today = localdate()
    contact = contact_named(name="Tilda from the pier", by=keeper)
    items = [SaleItem(plug=available_on(today).order_by("-pk")[5], price=Decimal(25))]
    close_sale(sale=sell_now(contact=contact, items=items, today=today, by=keeper), today=today, by=keeper)
    return forget_contact(contact=contact, today=today, by=keeper)


def trade_with_everything(keeper):
    """A trade of today with a plug out, a plug and a colony in, and cash on top."""
    return trade(
        contact=contact_named(name="Sela", by=keeper),
        plugs=[available_on(localdate()).last()],
        lines=[PackLine(lineage="Harbour Lantern"), PackLine(lineage="Harbour Lantern", is_colony=True, tag="TR1")],
        on=localdate(),
        today=localdate(),
        cash=Decimal(5),
        note="At the meet",
        by=keeper,
    )


def sale_with_everything(keeper):
    """An agreed sale with a discount, a part that was paid, and a payment that was withdrawn."""
    today = localdate()
    plugs = available_on(today)[10:12]
    sale = begin_sale(
        contact=contact_named(name="Mira from the club", by=keeper),
        items=[SaleItem(plug=plug, price=Decimal(25), discount=Decimal(5)) for plug in plugs],
        today=today,
        shipping=Decimal(9),
        note="Comes by on Saturday",
        by=keeper,
    )
    agree_sale(sale=sale, today=today, by=keeper)
    slip, _ = (take_payment(sale=sale, amount=Decimal(10), today=today, by=keeper) for _ in range(2))
    withdraw_payment(payment=slip, today=today, by=keeper)
    return sale


def pages_of_photos(colony, keeper):
    """Photos that wait for a yes, that are in the records, and that nobody could sort, in one round."""
    drawn = picture_of(colony, label_mm=printed(colony)[colony.code])
    round = PhotoRound.objects.create(begun_by=keeper)
    now, before = timezone.localtime(), timezone.localtime() - timedelta(days=40)
    waiting, taken = (
        kept(as_file(drawn.pixels, taken_at=taken_at), localdate(), round=round, by=keeper)
        for taken_at in (now, before)
    )
    unsorted = kept(as_file(picture("").pixels), localdate(), name="blurred.jpg", round=round, by=keeper)
    made = mend_outline(photo=taken, outline=drawn.outline_px.tolist(), by=keeper)
    accept_measurement(measurement=made, today=localdate(), confirmed=True, by=keeper)
    show_photo(photo=taken, by=keeper)
    return [
        *(reverse(name) for name in ("photos", "photos_add", "photo_review")),
        *(f"{reverse('photos')}?which={which}" for which in ("unsorted", "aside")),
        reverse("photo_round", args=[round.pk]),
        *(reverse("photo", args=[photo.pk]) for photo in (waiting, taken, unsorted)),
    ]


def pages_of_films(colony):
    """A film that is made."""
    grown(colony, 2, first_day=colony.began_on)
    film = ask_for_film(colony=colony, now=timezone.now())
    make_growth_film(film_id=film.pk, now=timezone.now())
    film.refresh_from_db()
    assert film.made_at, film.trouble
    return [reverse("film", args=[film.pk])]


@pytest.fixture
def pages(keeper, settings, tmp_path):
    """The address of every page that a keeper can open, on the demo's records."""
    settings.MEDIA_ROOT = tmp_path / "files"
    demo = DemoScenario(settings.BASE_DIR / "fixtures" / "demo_scenario.toml", today=localdate(), by=keeper)
    demo.build()
    demo.look_back()
    ready = Plug.objects.ready_on(localdate()).first()
    healing = Plug.objects.healing().first()
    gone = Plug.objects.filter(fate=Fate.SOLD).first()
    run, _ = print_labels(stock=find_stock(FIRST_STOCK), plugs=[ready], base_address="https://ramet.example", by=keeper)
    colony, ended = Colony.objects.get(tag="LF2"), Colony.objects.get(tag="LF1")
    session = CuttingSession.objects.first()
    rack = Spot.objects.racks().in_running_systems().first()
    system = System.objects.running().first()
    acquisition = Acquisition.objects.first()
    sold = sale_with_everything(keeper)
    traded = trade_with_everything(keeper)
    claimed = claim_with_everything(sold.contact, keeper)
    kept = leave_with(plug=gone, contact=sold.contact, on=localdate(), today=localdate(), by=keeper)
    other = contact_named(name="Mira form the club", by=keeper)
    (held,) = hold_plugs(
        plugs=[available_on(localdate())[10]], contact=sold.contact, until=localdate(), today=localdate(), by=keeper
    )
    told = {"visibility": "public", "wishes": "Any Stylophora", "reach": "At the club"}
    Availability.objects.update_or_create(pk=1, defaults=told)
    itself, *packed = available_on(localdate()).order_by("-pk")[:3]
    offer_plug(plug=itself, as_itself=True, words="Two branches, blue tips", by=keeper)
    make_pack(name="Two to begin with", amount=Decimal(40), plugs=packed, by=keeper)
    photos = pages_of_photos(colony, keeper)
    return [
        *photos,
        *pages_of_films(ended),
        *(
            reverse(name)
            for name in [
                "today",
                "cut",
                "sessions",
                "session_from_file",
                "rack",
                "market",
                "market_brought",
                "lineages",
                "lineage_new",
                "systems",
                "system_new",
                "colonies",
                "incidents",
                "water",
                "absences",
                "absence_new",
                "calendar",
                "preferences",
                "trace",
                "ready",
                "ready_lines",
                "orders",
                "forecasts",
                "ready_soon",
                "healing",
                "yield_record",
                "compare_systems",
                "ready_print",
                "available",
                "offers",
                "pack_new",
                "holds",
                "sales",
                "trades",
                "trade_new",
                "safekeeping",
                "safekeeping_new",
                "claims",
                "prices",
                "book_currency",
                "contacts",
                "contact_new",
                "acquire",
                "acquire_colony",
                "acquire_plugs",
                "acquire_pack",
                "passports",
                "labels",
                "print_runs",
                "stocks",
                "stock_new",
            ]
        ),
        reverse("session", args=[session.pk]),
        reverse("session_correct", args=[session.pk]),
        reverse("rack_grid", args=[rack.pk]),
        *(reverse("plug", args=[plug.code]) for plug in (ready, healing, gone)),
        *(
            reverse(name, args=[ready.code])
            for name in ["plug_grow_on", "plug_correct", "plug_left", "hold", "plug_price", "plug_offer", "plug_wait"]
        ),
        reverse("lineage", args=[colony.lineage_id]),
        reverse("books"),
        reverse("book", args=[colony.lineage_id]),
        *(reverse("book_of_mother", args=[each.tag]) for each in (colony, ended)),
        *(reverse("ledger_of_year", args=[year]) for year in (localdate().year, 1999)),
        reverse("lineage_edit", args=[colony.lineage_id]),
        reverse("lineage_cut_rule", args=[colony.lineage_id]),
        reverse("size_prices", args=[colony.lineage_id]),
        reverse("colony_cut_rule", args=[colony.tag]),
        *(
            reverse(name, args=[system.pk])
            for name in [
                "system",
                "system_water",
                "water_test",
                "system_edit",
                "system_end",
                "system_restart",
                "spot_new",
            ]
        ),
        reverse("spot_edit", args=[rack.pk]),
        *(reverse(name, args=[each.tag]) for name in ("colony", "colony_plan") for each in (colony, ended)),
        *(reverse(f"colony_{act}", args=[colony.tag]) for act in ["edit", "move", "measure", "end", "place_correct"]),
        f"{reverse('incident_new')}?colony={colony.tag}",
        reverse("incident_close", args=[Incident.objects.open().first().pk]),
        *(reverse("trace_plug", args=[code]) for code in (ready.code, colony.code)),
        *(
            reverse(name, args=[sold.pk])
            for name in ["sale", "sale_change", "sale_pay", "sale_refund", "sale_hand_over", "sale_cancel"]
        ),
        f"{reverse('sale_new')}?plugs={ready.code}&colonies={colony.code}",
        f"{reverse('trade_new')}?plugs={ready.code}&colonies={colony.code}",
        reverse("trade", args=[traded.pk]),
        *(reverse("own_papers", args=[each.secret]) for each in (sold, traded)),
        *(
            reverse(name, args=[kept.pk])
            for name in ["safekeeping_one", "safekeeping_heard", "safekeeping_back", "safekeeping_end"]
        ),
        *(reverse(name, args=[claimed.pk]) for name in ["claim", "claim_settle"]),
        reverse("claim_new", args=[claimed.line.sale.lines.exclude(pk=claimed.line_id).first().pk]),
        *(reverse(name, args=[sold.contact_id]) for name in ["contact", "contact_same", "contact_forget"]),
        f"{reverse('contact_same', args=[sold.contact_id])}?name={quote(other.name)}",
        *(reverse("contact_all", args=[sold.contact_id, kind]) for kind in KINDS),
        reverse("contact", args=[forgotten_contact(keeper).pk]),
        page_of_credit(sold.contact),
        reverse("hold_deposit", args=[held.pk]),
        reverse("acquisition", args=[acquisition.pk]),
        reverse("acquisition_edit", args=[acquisition.pk]),
        f"{reverse('labels')}?plugs={ready.code}",
        reverse("print_run", args=[run.pk]),
        *pages_of_passports(),
    ]


def page_of_credit(contact):
    """The page that pays out credit of which a part was paid out before; their own page shows it too."""
    Credit.objects.create(contact=contact, amount=9, currency="EUR", on=localdate())
    pay_out_credit(contact=contact, amount=Decimal(4), currency="EUR", today=localdate())
    return f"{reverse('contact_credit_pay_out', args=[contact.pk])}?currency=EUR"


def pages_of_passports():
    """The pages of a plug that came with the passports of two keepers."""
    now = timezone.now()
    first = passport_samples.signed(passport_samples.line(cut=date(2025, 7, 1)), created=now - timedelta(days=9))
    document = passport_samples.chained(first, came=date(2025, 8, 1), created=now - timedelta(days=2))
    acquisition = import_passport(
        data=passport_samples.canonical(document),
        deal=Deal(on=localdate(), kind="trade"),
        today=localdate(),
        now=now,
    )
    code = acquisition.plugs.get().code
    return [
        reverse("passport", args=[acquisition.passport.pk]),
        reverse("key_name", args=[acquisition.passport.key_id]),
        reverse("trace_plug", args=[code]),
        reverse("acquisition", args=[acquisition.pk]),
    ]


def faults_of(page, address) -> list[str]:
    answer = page.goto(address)
    found = [] if answer.ok else [f"{address}: answered {answer.status}"]
    if px_too_wide(page) > 0:
        found.append(f"{address}: wider than the glass")
    for each in broken_rules(page, runOnly=TAGS):
        nodes = each["nodes"]
        if each["id"] == "target-size":
            nodes = [node for node in nodes if is_too_small(page, node["target"][0])]
        if nodes:
            found.append(f"{address}: {each['id']} at {nodes[0]['target']}")
    return found


def is_too_small(page, target) -> bool:
    """Is a target too small in the middle of the glass, where no bar at the edge covers a part of it?"""
    page.evaluate("target => document.querySelector(target).scrollIntoView({block: 'center'})", target)
    again = broken_rules(page, runOnly={"type": "rule", "values": ["target-size"]})
    return any(node["target"][0] == target for each in again for node in each["nodes"])


def test_every_page_is_fit_for_everybody_on_a_phone_and_on_a_desk(browser_page, pages):
    """WCAG 2.2 AA as far as axe-core can tell; a phone in the light, a desk in the dark."""
    phone, desk = browser_page(360, 740), browser_page(1280, 860, dark=True, touch=False)
    faults = [fault for address in pages for page in (phone, desk) for fault in faults_of(page, address)]
    assert not faults, "\n".join(faults)

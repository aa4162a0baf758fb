"""What papers say: amounts as the sale's totals, lines down to the first acquisition, light, water and cautions."""

import io
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.core.files.base import ContentFile
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from inventory.actions.acquire_from import Deal
from inventory.actions.begin_sale import agree_sale, cancel_sale, close_sale
from inventory.actions.claim import report_claim, settle_claim
from inventory.actions.hand_over import hand_over, sell_now
from inventory.actions.pay_sale import refund, take_payment, withdraw_payment
from inventory.actions.sale_steps import SaleItem
from inventory.actions.trade import trade
from inventory.models import Payment, Safekeeping, Sale
from inventory.money import write_amount
from inventory.readings.sales import totals
from labels.actions.import_passport import import_passport
from labels.actions.print_papers import Kind, kinds_of, print_papers, size_named, usual_size
from labels.actions.renew_paper_link import renew_paper_link
from labels.drawing.papers.pages import A4, LETTER
from labels.errors import NoSuchPaper
from labels.paper_words import LONGEST_NAME, advice_for, file_name
from labels.readings.papers import (
    Issuer,
    care_note_of,
    certificates_of,
    packing_list_of,
    receipt_of_sale,
    receipt_of_trade,
    things_of,
)
from propagation.actions.acquire import PackLine
from propagation.errors import PlugGone
from propagation.models import Acquisition, Fate, Photo, Plug, Preferences, WaterTest
from tests.factories import (
    AcquisitionFactory,
    ColonyFactory,
    ContactFactory,
    CutEventFactory,
    LineageFactory,
    PlacementFactory,
    PlugFactory,
    RackFactory,
    ReadyPlugFactory,
)
from tests.inventory.sales import begun, items_of
from tests.keeper_on_papers import FOR_PAPERS, keep_for_papers, tells_of_it
from tests.labels import paper_reading as read
from tests.labels import passport_samples

pytestmark = pytest.mark.django_db
BASE = "https://ramet.example"


@pytest.fixture(autouse=True)
def home(settings, tmp_path):
    settings.RAMET_HOME = tmp_path
    settings.MEDIA_ROOT = tmp_path / "files"
    return tmp_path


@pytest.fixture
def issuer(today):
    return Issuer(Preferences(pk=1, display_name="Tidepool Corals"), BASE, today)


def amount(text: str) -> Decimal:
    """An amount as it is written in euros, as a number."""
    return Decimal(text.replace("−", "-").replace("€", "").replace(",", ""))


def printed(of, kind, *, today, size=A4, **told):
    return print_papers(of=of, kind=kind, size=size, base_address=BASE, today=today, **told)


# Receipts -------------------------------------------------------------------------------------------------------------


def sale_with_everything(today):
    """A sale with discounts, shipping, a deposit, a payment, one taken back, and money given back."""
    plugs = ReadyPlugFactory.create_batch(3)
    items = [SaleItem(plug=plug, price=Decimal("25.50"), discount=Decimal(n)) for n, plug in enumerate(plugs)]
    sale = begun(today=today, plugs=1, shipping=Decimal("9.90"), discount=Decimal("2.25"))
    for item in items:
        sale.lines.create(plug=item.plug, price=item.price, discount=item.discount)
    take_payment(sale=sale, amount=Decimal(10), on=today, today=today)
    agree_sale(sale=sale, today=today)
    take_payment(sale=sale, amount=Decimal(50), on=today, today=today, method=Payment.Method.TRANSFER)
    withdraw_payment(payment=take_payment(sale=sale, amount=Decimal(3), on=today, today=today), today=today)
    refund(sale=sale, amount=Decimal("4.50"), on=today, today=today)
    return Sale.objects.select_related("contact").get(pk=sale.pk)


def test_every_sum_on_a_receipt_is_that_of_the_sale(today, issuer):
    sale = sale_with_everything(today)
    paper, sums = receipt_of_sale(sale, issuer), totals(sale)
    told = {each.words: amount(each.amount) for each in [*paper.sums, *paper.paid, paper.balance]}
    assert told == {
        "Together": sums.lines,
        "Discounts on single corals": -(sums.discounts - sale.discount),
        "Discount on all": -sale.discount,
        "Shipping": sums.shipping,
        "To pay": sums.due,
        "Paid": sums.paid,
        "Given back": -sums.refunded,
        "Still owed": sums.owed,
    }
    assert sum(amount(charge.price) for charge in paper.charges) == sums.lines
    assert sum(amount(charge.amount) for charge in paper.charges) == sums.lines - (sums.discounts - sale.discount)
    assert sum(amount(paid.amount) for paid in paper.payments) == sums.received
    assert [paid.words for paid in paper.payments] == ["Deposit, cash", "Payment, bank transfer", "Refund, cash"]


@given(
    st.lists(
        st.tuples(st.decimals(0, 99999, places=2), st.decimals(0, 100, places=2)).filter(
            lambda each: each[1] <= each[0]
        ),
        min_size=1,
        max_size=4,
    ),
    st.decimals(0, 500, places=2),
    st.decimals(0, 500, places=2),
)
def test_what_stands_on_a_receipt_adds_up(lines, shipping, discount):
    """The sum of the lines as printed, less the discount on all, and shipping, is what is to pay, or nothing."""
    today = date(2026, 6, 15)
    contact = ContactFactory()
    sale = Sale.objects.create(
        contact=contact, currency="EUR", begun_on=today, agreed_on=today, shipping=shipping, discount=discount
    )
    for price, off in lines:
        sale.lines.create(plug=ReadyPlugFactory(), price=price, discount=off)
    paper = receipt_of_sale(sale, Issuer(Preferences(pk=1), BASE, today))
    charged = sum(amount(charge.amount) for charge in paper.charges)
    assert amount(paper.sums[-1].amount) == max(charged - discount + shipping, 0) == totals(sale).due


def claimed(sale, kind, today, **told):
    line = sale.lines.filter(claim=None).first()
    claim = report_claim(line=line, kind="dead", on=today, today=today, words="Secret words")
    settle_claim(claim=claim, outcome=kind, on=today, today=today, **told)
    return line.plug.code_in_clear


def test_what_was_done_about_claims_stands_on_the_receipt(today, issuer):
    items = items_of(*ReadyPlugFactory.create_batch(3))
    sale = sell_now(contact=ContactFactory(), items=items, today=today, paid=True)
    another = ReadyPlugFactory()
    claimed(sale, "refunded", today, amount=Decimal(20))
    credited = claimed(sale, "credit", today, amount=Decimal(15))
    replaced = claimed(sale, "replaced", today, plug=another)
    paper = receipt_of_sale(sale, issuer)
    told = {each.words: each.amount for each in [*paper.sums, *paper.paid, paper.balance]}
    assert told["Given back for claims"] == told["Given back"] == "−€20.00"
    assert (told["To pay"], told["Paid"], told["Still owed"]) == ("€55.00", "€75.00", "nothing")
    assert [paid.words for paid in paper.payments] == ["Payment, cash", "Refund for a claim, cash"]
    assert paper.remarks[0] == f"Credit of €15.00 was given for {credited} on 15 Jun 2026."
    assert paper.remarks[1].startswith(f"{replaced} was replaced by {another.code_in_clear} on 15 Jun 2026, in sale ")
    assert "Secret" not in read.text(printed(sale, "receipt", today=today).pdf)


def test_amounts_are_printed_as_their_currency_is_written(today, issuer):
    for currency, digits in (("EUR", "2 digits"), ("JPY", "whole units"), ("KWD", "3 digits")):
        sale = begun(today=today)
        Sale.objects.filter(pk=sale.pk).update(currency=currency)
        sale.refresh_from_db()
        pdf = printed(sale, "receipt", today=today).pdf
        assert write_amount(Decimal(50), currency).replace("\xa0", " ") in read.text(pdf)
        assert f"({currency}), each line rounded by itself to {digits}" in read.text(pdf)


def test_a_receipt_says_how_far_the_sale_has_come(today, issuer):
    sale = begun(today=today)
    assert "nothing is agreed yet" in receipt_of_sale(sale, issuer).head.notice
    assert receipt_of_sale(sale, issuer).balance.words == "To pay once it is agreed"
    sale = agree_sale(sale=sale, today=today)
    assert receipt_of_sale(sale, issuer).head.notice == ""
    take_payment(sale=sale, amount=Decimal(20), on=today, today=today)
    hand_over(sale=sale, how="handed_over", on=today, today=today, confirmed=True)
    close_sale(sale=sale, today=today, confirmed=True)
    sale.refresh_from_db()
    assert receipt_of_sale(sale, issuer).balance.words == "Let go when the sale was closed"
    off = cancel_sale(sale=begun(today=today), today=today)
    paper = receipt_of_sale(off, issuer)
    assert paper.head.notice == "Called off on 15 Jun 2026."
    assert (len(paper.charges), paper.sums[-1].amount, paper.balance.amount) == (2, "€0.00", "nothing")
    assert kinds_of(off) == [Kind.RECEIPT]


def test_a_receipt_tells_the_line_and_not_what_the_keeper_noted(today, issuer):
    contact = ContactFactory(name="Mira", reach="0000 secret", note="Secret note")
    sale = begun(today=today, contact=contact, note="Secret note of the sale")
    take_payment(sale=sale, amount=Decimal(5), on=today, today=today, note="Secret note of the payment")
    told = read.text(printed(sale, "all", today=today).pdf)
    assert "Mira" in told
    for line in sale.lines.all():
        assert line.plug.code_in_clear in told
        assert line.plug.lineage.name in told
    assert "ecret" not in told


def test_the_receipt_of_a_trade_tells_both_sides_and_the_cash(today, issuer):
    plug, colony, contact = ReadyPlugFactory(), ColonyFactory(), ContactFactory(name="Sela")
    made = trade(
        contact=contact,
        plugs=[plug],
        colonies=[colony],
        lines=[
            PackLine(lineage="Harbour Lantern", count=2),
            PackLine(lineage="Harbour Lantern", is_colony=True, tag="T1"),
        ],
        on=today,
        today=today,
        cash=Decimal("-12.50"),
    )
    paper = receipt_of_trade(made, issuer)
    assert [given.thing.code for given in paper.went] == [plug.code_in_clear, colony.code_in_clear]
    came = [*Plug.objects.filter(lineage__name="Harbour Lantern").order_by("id")]
    assert {given.thing.code for given in paper.came} >= {each.code_in_clear for each in came}
    assert [given.thing.tag for given in paper.came].count("T1") == 1
    assert (paper.cash.words, paper.cash.amount) == ("Cash on top, paid by Tidepool Corals", "€12.50")
    assert (paper.went_heading, paper.came_heading) == ("Tidepool Corals gave", "Sela gave")
    assert things_of(made) == [plug, colony]
    assert "Receipt of a trade" in read.text(printed(made, "receipt", today=today).pdf)


# Who sold ------------------------------------------------------------------------------------------------------------


@pytest.fixture
def made(today):
    """A sale and a trade."""
    lines = [PackLine(lineage="Harbour Lantern", count=1)]
    given = {"contact": ContactFactory(name="Sela"), "plugs": [ReadyPlugFactory()], "colonies": [], "lines": lines}
    return begun(today=today), trade(**given, on=today, today=today)


def test_receipts_name_who_sold_with_all_there_is_to_know(today, made):
    keep_for_papers(display_name="Tidepool Corals")
    for of in made:
        told = read.text(printed(of, "receipt", today=today).pdf)
        for words in FOR_PAPERS.values():
            assert " ".join(words.split()) in told
        assert "Tidepool Corals" not in told, "the name on papers stands before the public one"


def test_packing_lists_name_the_sender_without_a_number(today, made):
    keep_for_papers()
    for of in made:
        told = read.text(printed(of, "packing", today=today).pdf)
        for name in ("paper_name", "postal_address", "paper_reach"):
            assert " ".join(FOR_PAPERS[name].split()) in told
        assert FOR_PAPERS["tax_number"] not in told
        assert FOR_PAPERS["receipt_closing"] not in told


def test_certificates_and_care_notes_tell_the_name_alone(today, made):
    keep_for_papers()
    for of in (*made, things_of(made[0])[0]):
        for kind in ("certificate", "care"):
            told = read.text(printed(of, kind, today=today).pdf)
            assert FOR_PAPERS["paper_name"] in told
            assert not tells_of_it(told.replace(FOR_PAPERS["paper_name"], ""))


def test_where_nothing_was_written_papers_are_of_a_keeper_and_for_their_buyer(today, made):
    for of in made:
        told = read.text(printed(of, "receipt", today=today).pdf)
        assert "From a keeper of corals" in told
        assert f"for {of.contact.name}" in told
        assert "Seller" not in told


def test_papers_of_a_past_sale_say_what_the_preferences_say_now(today, made):
    keep_for_papers()
    before = read.text(printed(made[0], "receipt", today=today).pdf)
    keep_for_papers(postal_address="2 Moved Quay")
    after = read.text(printed(made[0], "receipt", today=today).pdf)
    assert "Onpaper Quay 1" in before
    assert "2 Moved Quay" in after
    assert "Onpaper Quay 1" not in after


# Packing --------------------------------------------------------------------------------------------------------------


def test_a_packing_list_goes_rack_by_rack_and_cell_by_cell(today, issuer):
    near = RackFactory(name="Rack A", rack_columns=12, system__name="Bench")
    far = RackFactory(name="Rack B", system__name="Bench two")
    where = [(far, 1, 2), (near, 2, 1), (near, 1, 10), (None, None, None), (near, 1, 2)]
    plugs = [ReadyPlugFactory(rack=rack, rack_row=row, rack_column=column) for rack, row, column in where]
    colony = ColonyFactory(tag="GQ1")
    PlacementFactory(colony=colony, spot__name="Ledge", spot__system=near.system)
    sale = Sale.objects.create(contact=ContactFactory(), currency="EUR", begun_on=today)
    for plug in plugs:
        sale.lines.create(plug=plug, price=1)
    sale.lines.create(colony=colony, price=1)
    paper = packing_list_of(sale, issuer)
    assert [(place.name, place.detail) for place in paper.places] == [
        ("Ledge", "Bench"),
        ("Rack A", "Bench"),
        ("Rack B", "Bench two"),
        ("On no rack", "look for these first"),
    ]
    assert [each.cell for each in paper.places[1].things] == ["A 2", "A 10", "B 1"]
    assert paper.number == 6
    codes = [each.thing.address[-8:] for place in paper.places for each in place.things]
    assert [text[-8:] for text in read.codes(printed(sale, "packing", today=today).pdf)] == codes


def test_the_codes_on_paper_open_what_the_labels_open(today):
    sale = begun(today=today)
    addresses = {f"HTTPS://RAMET.EXAMPLE/Q/{line.plug.code}" for line in sale.lines.all()}
    for size in (A4, LETTER):
        assert set(read.codes(printed(sale, "packing", today=today, size=size).pdf)) == addresses


def test_after_it_left_the_packing_list_still_tells_where_each_stood(today, issuer):
    rack = RackFactory(name="Rack A")
    plug = ReadyPlugFactory(rack=rack, rack_row=1, rack_column=3)
    sale = begun(today=today, plugs=1)
    sale.lines.create(plug=plug, price=5)
    agree_sale(sale=sale, today=today)
    hand_over(sale=sale, how="handed_over", on=today, today=today, confirmed=True)
    plug.refresh_from_db()
    assert plug.rack is None
    places = {place.name: [each.cell for each in place.things] for place in packing_list_of(sale, issuer).places}
    assert places["Rack A"] == ["A 3"]


# Certificates ---------------------------------------------------------------------------------------------------------


@pytest.fixture
def plug():
    """A frag whose line goes through a grown-on plug, a return from safekeeping, and two systems."""
    first = ColonyFactory(tag="GRAND-1", lineage__name="Harbour Ember", lineage__origin="captive_grown")
    lineage = first.lineage
    lineage.identity = "likely"
    lineage.save()
    PlacementFactory(colony=first, spot__system__name="First build", until=date(2024, 9, 1))
    PlacementFactory(colony=first, spot__system__name="Second build", since=date(2024, 9, 1))
    away = ReadyPlugFactory(cut_event=CutEventFactory(mother=first, session__cut_on=date(2024, 10, 1)))
    Plug.objects.filter(pk=away.pk).update(fate=Fate.GIVEN, ended_on=date(2024, 12, 1))
    Safekeeping.objects.create(plug=away, contact=ContactFactory(name="Secret friend"), since=date(2024, 12, 1))
    came_back = AcquisitionFactory(
        lineage=lineage, kind=Acquisition.Kind.RETURNED, returned_plug=away, acquired_on=date(2025, 3, 3)
    )
    mother = ColonyFactory(tag="MOTHER-2", lineage=lineage, acquisition=came_back, began_on=date(2025, 3, 3))
    rack = RackFactory(name="Secret rack", system__name="Third build")
    event = CutEventFactory(mother=mother, session__cut_on=date(2026, 4, 1), frags=6, note="Secret cut note")
    return ReadyPlugFactory(cut_event=event, rack=rack, rack_row=1, rack_column=1, note="Secret plug note")


def test_a_certificate_tells_the_line_down_to_the_first_acquisition(plug, issuer):
    (paper,) = certificates_of([plug], plug, issuer)
    assert [(step.day, step.title, step.detail) for step in paper.steps] == [
        (date(2026, 4, 1), "This frag was cut", "from the mother colony MOTHER-2, one of 6; in Third build"),
        (
            date(2025, 3, 3),
            "Came back to this keeper",
            "from safekeeping with another keeper, where it had been since 1 Dec 2024; as the colony MOTHER-2",
        ),
        (date(2024, 10, 1), "A frag was cut", "from the mother colony GRAND-1, one of 4"),
        (
            date(2024, 1, 10),
            "First acquired by this keeper",
            "as the colony GRAND-1; in First build, then Second build",
        ),
    ]
    facts = dict(paper.facts)
    assert facts["How sure the identity is"] == "Likely"
    assert facts["Origin as recorded"] == "Captive-grown"
    assert facts["With this keeper"] == "since Jan 2024, 2 cuts"
    assert paper.thing.latin == "Acropora millepora"


def test_a_printed_certificate_says_who_issued_it_and_where_to_verify_it(plug, today):
    Preferences.objects.update_or_create(pk=1, defaults={"display_name": "Tidepool Corals"})
    told = read.text(printed(plug, "certificate", today=today).pdf)
    assert "Tidepool Corals issued this on 15 Jun 2026" in told
    assert f"{BASE}/Q/{plug.code}" in told
    assert "Its key has these figures" in told
    assert "ecret" not in told, "no contact, no rack and no note"


def test_where_no_lines_are_published_no_page_is_named(plug, today):
    Preferences.objects.update_or_create(pk=1, defaults={"public_pages": False})
    told = read.text(printed(plug, "certificate", today=today).pdf)
    assert f"{BASE}/Q/" not in told
    assert "who is not named here" in told


def test_a_certificate_of_a_colony_grown_here(today, issuer):
    grown = PlugFactory()
    Plug.objects.filter(pk=grown.pk).update(fate=Fate.GROWN_ON, ended_on=date(2026, 5, 1))
    colony = ColonyFactory(tag="NEW-1", grown_from=grown, lineage=grown.lineage, began_on=date(2026, 5, 1))
    (paper,) = certificates_of([colony], colony, issuer)
    assert [step.title for step in paper.steps] == [
        "Colony NEW-1 began",
        "A frag was cut",
        "First acquired by this keeper",
    ]
    assert "NEW-1" in read.text(printed(colony, "certificate", today=today).pdf)


def test_what_earlier_keepers_told_in_passports_stands_on_the_certificate(today, issuer):
    now = timezone.now()
    signed = passport_samples.signed(passport_samples.line(cut=date(2025, 7, 1)), created=now - timedelta(days=9))
    acquisition = import_passport(
        data=passport_samples.canonical(signed), deal=Deal(on=now.date(), kind="trade"), today=now.date(), now=now
    )
    plug = acquisition.plugs.select_related("lineage", "cut_event").get()
    (paper,) = certificates_of([plug], plug, issuer)
    assert len(paper.before) == 1
    assert "signed on" in paper.before[0].detail
    assert "Before it came here" in read.text(printed(plug, "certificate", today=now.date()).pdf)


def shown_photo(today, **of):
    file = io.BytesIO()
    Image.new("RGB", (400, 300), "teal").save(file, "JPEG")
    photo = Photo(
        digest=f"{Photo.objects.count():064d}",
        name="a.jpg",
        suffix=".jpg",
        size_bytes=1,
        arrived_at=timezone.now(),
        taken_on=today,
        sorted_by="hand",
        is_shown=True,
        **of,
    )
    photo.file.save("a.jpg", ContentFile(file.getvalue()), save=False)
    photo.screen.save("a.jpg", ContentFile(file.getvalue()), save=False)
    photo.save()
    return photo


def test_the_picture_that_was_chosen_for_others_is_on_the_certificate(plug, today, issuer):
    assert certificates_of([plug], plug, issuer)[0].picture is None
    photo = shown_photo(today, colony=plug.cut_event.mother)
    (paper,) = certificates_of([plug], plug, issuer)
    assert paper.picture.words == "Photo of Harbour Ember, the mother colony MOTHER-2, 15 Jun 2026"
    assert paper.picture.caption == "The mother colony MOTHER-2, 15 Jun 2026"
    assert paper.picture.caption in read.text(printed(plug, "certificate", today=today).pdf)
    itself = shown_photo(today, plug=plug, is_drawn=True)
    (its_own,) = certificates_of([plug], plug, issuer)
    assert (its_own.picture.words, its_own.picture.caption) == (
        "Drawing of Harbour Ember, 15 Jun 2026",
        "Drawn, 15 Jun 2026",
    )
    Photo.objects.filter(pk=itself.pk).update(is_shown=False)
    assert ("Figure", paper.picture.words) in read.structure(printed(plug, "certificate", today=today).pdf)
    photo.screen.storage.delete(photo.screen.name)
    assert certificates_of([plug], plug, issuer)[0].picture is None


# Care -----------------------------------------------------------------------------------------------------------------


def test_a_care_note_tells_light_water_and_healing(plug, today, issuer):
    system = plug.rack.system
    for parameter, value, day in (
        ("alkalinity_dkh", "8.200", date(2026, 6, 1)),
        ("alkalinity_dkh", "7.100", date(2026, 5, 1)),
        ("ph", "8.1", date(2026, 6, 14)),
        ("calcium_mgl", "400", date(2026, 6, 20)),
    ):
        WaterTest.objects.create(system=system, parameter=parameter, value=value, taken_on=day)
    paper = care_note_of([plug], plug, issuer)
    (grown,) = paper.grown
    assert (grown.cut, grown.healing) == ("cut 1 Apr 2026", "healed 22 Apr 2026")
    assert grown.light == "250 PAR (µmol m⁻² s⁻¹)"
    assert [(water.system, list(water.tests)) for water in paper.waters] == [
        ("Third build", [("Alkalinity", "8.2 dKH", date(2026, 6, 1)), ("pH", "8.1", date(2026, 6, 14))])
    ]
    told = read.text(printed(plug, "care", today=today).pdf)
    for words in (
        "8.2 dKH",
        "Appendix II of CITES",
        "this note does not decide it",
        "Origin as recorded: captive-grown",
    ):
        assert words in told
    assert "palytoxin" not in told


def test_water_is_that_of_the_day_it_left(today, issuer):
    rack = RackFactory()
    plug = ReadyPlugFactory(rack=rack, rack_row=1, rack_column=1)
    sale = begun(today=today, plugs=1)
    sale.lines.create(plug=plug, price=5)
    agree_sale(sale=sale, today=today)
    hand_over(sale=sale, how="sent", on=today, today=today, confirmed=True)
    sale.refresh_from_db()
    WaterTest.objects.create(system=rack.system, parameter="ph", value="8.1", taken_on=today)
    WaterTest.objects.create(system=rack.system, parameter="ph", value="7.9", taken_on=today + timedelta(days=9))
    later = Issuer(issuer.preferences, BASE, today + timedelta(days=30))
    (water,) = [each for each in care_note_of(things_of(sale), sale, later).waters if each.system == rack.system.name]
    assert [value for _, value, _ in water.tests] == ["8.1"]


@pytest.mark.parametrize(
    ("genus", "growth_form", "words"),
    [
        ("Zoanthus", "polyps", "A zoanthid can carry palytoxin"),
        ("palythoa", "encrusting", "A zoanthid can carry palytoxin"),
        ("", "polyps", "If it is a zoanthid, it can carry palytoxin"),
        ("Euphyllia", "polyps", ""),
        ("", "branching", ""),
    ],
)
def test_zoanthids_come_with_the_caution_of_palytoxin(genus, growth_form, words):
    advice = advice_for([LineageFactory(genus=genus, species="", growth_form=growth_form)])
    told = " ".join(sentence for each in advice for sentence in each.sentences)
    assert (words in told) if words else ("palytoxin" not in told)


# All, sizes, names, links ---------------------------------------------------------------------------------------------


def test_all_papers_are_in_one_file_and_others_get_no_packing_list(today):
    sale = begun(today=today)
    pages = read.texts(printed(sale, "all", today=today).pdf)
    titles = ["Receipt", "Packing list", "Certificate of descent", "Certificate of descent", "Care note"]
    assert [title in page for title, page in zip(titles, pages, strict=True)] == [True] * 5
    others = read.text(printed(sale, "all", today=today, for_others=True).pdf)
    assert "Packing list" not in others
    with pytest.raises(NoSuchPaper, match="there is receipt, certificate, care, all"):
        printed(sale, "packing", today=today, for_others=True)


def test_a_kind_of_paper_that_there_is_not_is_named_with_those_there_are(plug, today):
    with pytest.raises(
        NoSuchPaper, match=f"no paper “receipt” of {plug.code_in_clear}; there is certificate, care, all"
    ):
        printed(plug, "receipt", today=today)
    with pytest.raises(NoSuchPaper, match="a4 or letter"):
        size_named("B5")
    assert size_named(" Letter ") == LETTER
    empty = Sale.objects.create(contact=ContactFactory(), currency="EUR", begun_on=today)
    with pytest.raises(NoSuchPaper, match="Nothing is in sale"):
        printed(empty, "certificate", today=today)
    assert "Nothing is in it." in read.text(printed(empty, "receipt", today=today).pdf)


def test_what_was_recorded_by_mistake_gets_no_papers(plug, today):
    Plug.objects.filter(pk=plug.pk).update(fate=Fate.VOID, ended_on=today, rack=None, rack_row=None, rack_column=None)
    plug.refresh_from_db()
    with pytest.raises(PlugGone):
        printed(plug, "certificate", today=today)


def test_who_thinks_in_inches_prints_on_letter():
    assert usual_size(Preferences(length_unit="inch")) == LETTER
    assert usual_size(Preferences()) == A4


@pytest.mark.parametrize(
    ("words", "name"),
    [
        (("Certificate", "K7M4-2QXP", 'a/b\\c "x"'), "Certificate K7M4-2QXP a-b-c -x.pdf"),
        (("Receipt", "a\nb\r\n\0c"), "Receipt a b c.pdf"),
        (("珊瑚 / 青い",), "珊瑚 - 青い.pdf"),
        (("../..",), "Paper.pdf"),
        (("",), "Paper.pdf"),
        (("C:*?<>|",), "C.pdf"),
    ],
)
def test_a_file_name_holds_nothing_that_a_file_may_not_have(words, name):
    assert file_name(*words) == name


@given(st.text(max_size=200))
def test_any_name_gives_a_file_name_that_every_system_takes(text):
    name = file_name("Certificate", text)
    assert name.endswith(".pdf")
    assert not set('/\\:*?"<>|\n\r\0') & set(name)
    assert len(name.encode()) <= LONGEST_NAME + 4


def test_a_new_link_takes_the_old_ones_place_and_leaves_its_trace(today, keeper):
    sale = begun(today=today)
    old, rows = sale.secret, sale.history.count()
    renewed = renew_paper_link(of=sale, by=keeper)
    assert renewed.secret != old
    assert len(renewed.secret) >= 32
    assert sale.history.count() == rows + 1
    assert sale.history.latest().history_user == keeper


# Five hundred lines ---------------------------------------------------------------------------------------------------


def sale_of(number, today):
    """A sale of so many plugs of five mothers, on five racks."""
    events = [CutEventFactory() for _ in range(5)]
    racks = [RackFactory(rack_rows=20, rack_columns=20) for _ in range(5)]
    sale = Sale.objects.create(contact=ContactFactory(), currency="EUR", begun_on=today, agreed_on=today)
    for place in range(number):
        row, column = divmod(place // 5, 20)
        plug = ReadyPlugFactory(
            cut_event=events[place % 5], rack=racks[place % 5], rack_row=row + 1, rack_column=column + 1
        )
        sale.lines.create(plug=plug, price=Decimal(25))
    return Sale.objects.select_related("contact").get(pk=sale.pk)


@pytest.mark.parametrize("kind", ["receipt", "packing", "certificate", "care", "all"])
def test_a_longer_sale_costs_no_more_queries(kind, today, django_assert_max_num_queries):
    bounds = {"receipt": 6, "packing": 4, "certificate": 12, "care": 20, "all": 36}
    few, many = sale_of(5, today), sale_of(40, today)
    printed(few, kind, today=today)  # the key and the faces are at hand
    for sale in (few, many):
        with django_assert_max_num_queries(bounds[kind]):
            printed(sale, kind, today=today)


def test_five_hundred_lines_are_printed_with_a_handful_of_queries(today, django_assert_max_num_queries):
    sale = sale_of(500, today)
    with django_assert_max_num_queries(6):
        receipt = printed(sale, "receipt", today=today)
    with django_assert_max_num_queries(4):
        packing = printed(sale, "packing", today=today)
    told = read.texts(receipt.pdf)
    assert sum(page.count("€25.00") for page in told) == 500
    assert "€12,500.00" in told[-1]
    assert "In all 500 corals" in read.texts(packing.pdf)[-1]

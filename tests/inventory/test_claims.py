"""Claims: reported in time, with pictures bare of metadata, and settled once, never beyond what was paid."""

import io
from datetime import timedelta
from decimal import Decimal
from html import unescape

import numpy as np
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils.timezone import localdate
from PIL import Image

from inventory.actions import claim as act
from inventory.actions.begin_sale import cancel_sale
from inventory.actions.claim import add_picture, report_claim, settle_claim
from inventory.actions.hand_over import sell_now, undo_handing_over
from inventory.actions.pay_sale import refund, withdraw_payment
from inventory.actions.sell_at_market import sell_at_market
from inventory.agenda_items import claims_to_settle
from inventory.errors import LateClaim, PlugInSale
from inventory.models import Claim, ClaimPicture, Credit, Sale
from inventory.readings.claims import losses_of_lineages
from inventory.readings.sales import credit_of, totals
from propagation.errors import AlreadyDone, BadDate, BadValue, PictureUnreadable
from tests.factories import ContactFactory, ReadyPlugFactory
from tests.inventory.sales import begun, items_of
from tests.propagation.photo_samples import as_file, as_heic, bomb

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("files")]


@pytest.fixture
def today():
    return localdate()


@pytest.fixture
def sale(today):
    plugs = ReadyPlugFactory.create_batch(2)
    return sell_now(contact=ContactFactory(name="Mira"), items=items_of(*plugs), today=today)


@pytest.fixture
def claim(sale, today):
    return report_claim(line=sale.lines.first(), kind="dead", on=today, today=today, words="White on arrival")


def photo(kind="JPEG", size=(40, 30), **more):
    written = io.BytesIO()
    Image.new("RGB", size, "teal").save(written, kind, **more)
    return written.getvalue()


def test_a_report_is_one_claim_within_the_days(sale, today):
    line = sale.lines.first()
    late = today + timedelta(days=act.DAYS_ANSWERED_FOR + 1)
    with pytest.raises(BadDate):
        report_claim(line=line, kind="dead", on=today - timedelta(days=1), today=today)
    with pytest.raises(BadValue, match="no kind of claim"):
        report_claim(line=line, kind="lost", on=today, today=today)
    with pytest.raises(LateClaim, match="more than 14 days before"):
        report_claim(line=line, kind="died_later", on=late, today=late, confirmed=False)
    made = report_claim(line=line, kind="died_later", on=late, today=late)
    assert report_claim(line=line, kind="died_later", on=late, today=late) == made
    with pytest.raises(AlreadyDone, match="died within"):
        report_claim(line=line, kind="dead", on=late, today=late)
    on_time = late - timedelta(days=1)
    report_claim(line=sale.lines.last(), kind="dead", on=on_time, today=late, confirmed=False)
    with pytest.raises(AlreadyDone, match="a claim"):
        undo_handing_over(sale=sale, today=today)


def test_what_has_not_left_is_not_claimed(today):
    with pytest.raises(BadValue, match="has not left"):
        report_claim(line=begun(today=today).lines.first(), kind="dead", on=today, today=today)


def test_money_back_lowers_what_is_due_and_never_exceeds_what_was_paid(claim, sale, today):
    with pytest.raises(BadValue, match="is more than the €50"):
        settle_claim(claim=claim, outcome="refunded", amount=Decimal("50.01"), on=today, today=today)
    with pytest.raises(BadValue, match="Say how much"):
        settle_claim(claim=claim, outcome="refunded", on=today, today=today)
    settle_claim(claim=claim, outcome="refunded", amount=Decimal(25), on=today, today=today)
    sums = totals(sale)
    assert (sums.for_claims, sums.received, sums.owed) == (Decimal(25), Decimal(25), Decimal(0))
    sale.refresh_from_db()
    assert sale.paid_on == today
    with pytest.raises(AlreadyDone, match="refunded"):
        settle_claim(claim=claim, outcome="refunded", amount=Decimal(25), on=today, today=today)
    assert sale.payments.filter(kind="refund").count() == 1


def test_credit_and_money_back_together_stay_within_what_was_paid(claim, sale, today):
    settle_claim(claim=claim, outcome="credit", amount=Decimal(30), on=today, today=today)
    assert credit_of(sale.contact, "EUR") == Decimal(30)
    assert Credit.objects.get().claim == claim
    other = report_claim(line=sale.lines.last(), kind="damaged", on=today, today=today)
    for outcome in ("refunded", "credit"):
        with pytest.raises(BadValue, match="is more than the €20"):
            settle_claim(claim=other, outcome=outcome, amount=Decimal(21), on=today, today=today)


def test_a_replacement_goes_in_a_sale_that_costs_nothing(claim, sale, today):
    with pytest.raises(BadValue, match="Give the code"):
        settle_claim(claim=claim, outcome="replaced", on=today, today=today)
    taken = begun(today=today).lines.first().plug
    with pytest.raises(PlugInSale):
        settle_claim(claim=claim, outcome="replaced", plug=taken, on=today, today=today)
    plug = ReadyPlugFactory()
    settled = settle_claim(claim=claim, outcome="replaced", plug=plug, on=today, today=today)
    new = settled.replaced_by.sale
    assert (new.contact, settled.replaced_by.plug, totals(new).due) == (sale.contact, plug, Decimal(0))
    assert new.agreed_on == today
    cancel_sale(sale=new, today=today)
    again = settle_claim(claim=claim, outcome="credit", amount=Decimal(25), on=today, today=today)
    assert (again.outcome, again.replaced_by) == ("credit", None)


def test_what_is_refused_can_be_settled_after_all(claim, today):
    settle_claim(claim=claim, outcome="refused", on=today, today=today, note="Four weeks later")
    assert losses_of_lineages() == []
    settle_claim(claim=claim, outcome="credit", amount=Decimal(5), on=today, today=today)
    assert Claim.objects.get().outcome == "credit"
    with pytest.raises(BadValue, match="no way to settle"):
        settle_claim(claim=claim, outcome="maybe", on=today, today=today)


def test_what_was_credited_for_a_claim_is_not_given_back_once_more(claim, sale, today):
    settle_claim(claim=claim, outcome="credit", amount=Decimal(20), on=today, today=today)
    paid = sale.payments.get()
    with pytest.raises(BadValue, match=r"more than the €30\.00 that was paid"):
        refund(sale=sale, amount=Decimal(31), today=today)
    with pytest.raises(BadValue, match=r"Credit was given for a claim out of the payment of €50\.00"):
        withdraw_payment(payment=paid, today=today)
    refund(sale=sale, amount=Decimal(30), today=today)
    with pytest.raises(BadValue, match="could be given back"):
        refund(sale=sale, amount=Decimal(1), today=today)


def test_two_who_settle_at_once_give_back_once(at_once, claim, sale, today):
    def give():
        return settle_claim(claim=claim, outcome="refunded", amount=Decimal(25), on=today, today=today)

    answers = at_once([give, give])
    assert sorted(type(answer).__name__ for answer in answers) == ["AlreadyDone", "Claim"]


def test_losses_are_counted_per_lineage(sale, today):
    for line, kind in zip(sale.lines.all(), ("dead", "damaged"), strict=True):
        report_claim(line=line, kind=kind, on=today, today=today)
    dead = sale.lines.first().plug.lineage
    (row,) = losses_of_lineages()
    same = sale.lines.filter(plug__lineage=dead).count()
    assert (row.name, row.dead, row.sold) == (dead.name, 1, same)


def test_the_day_names_whose_claim_waits(claim, today):
    (due,) = claims_to_settle(today)
    assert due.sentence == "Settle the claim of Mira"


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_picture_is_kept_without_metadata(claim, kind):
    exif = Image.Exif()
    exif[0x010F], exif[0x0112] = "Harbour camera", 6
    more = {"comment": b"from my kitchen"} if kind == "JPEG" else {}
    kept = add_picture(claim=claim, data=photo(kind, exif=exif, **more))
    written = kept.file.read()
    assert b"Harbour camera" not in written
    assert b"kitchen" not in written
    picture = Image.open(io.BytesIO(written))
    assert (picture.format, picture.size, dict(picture.getexif())) == ("JPEG", (30, 40), {})


def test_a_heic_picture_is_kept_without_place_and_device(claim):
    sent = as_heic(as_file(np.full((40, 30, 3), (200, 90, 40), np.uint8)))
    assert b"Invented" in sent
    written = add_picture(claim=claim, data=sent).file.read()
    assert b"Invented" not in written
    picture = Image.open(io.BytesIO(written))
    assert (picture.format, picture.size, dict(picture.getexif())) == ("JPEG", (30, 40), {})
    assert picture.getpixel((15, 20)) == pytest.approx((200, 90, 40), abs=6)


def test_what_is_no_picture_is_refused(claim, monkeypatch):
    for data in (b"", b"<svg/>", b"GIF89a", photo()[:200], photo("GIF")):
        with pytest.raises(PictureUnreadable):
            add_picture(claim=claim, data=data)
    with pytest.raises(PictureUnreadable, match="more than the 15 MB"):
        add_picture(claim=claim, data=b"x" * (act.MOST_BYTES + 1))
    with pytest.raises(PictureUnreadable, match="too many pixels"):
        add_picture(claim=claim, data=bomb())
    monkeypatch.setattr(act, "MOST_PICTURES", 0)
    with pytest.raises(BadValue, match="pictures already"):
        add_picture(claim=claim, data=photo())
    assert not ClaimPicture.objects.exists()


# -- pages


def text_of(answer) -> str:
    return unescape(answer.content.decode())


def test_from_the_sale_to_a_settled_claim(signed_in, client, sale, today):
    assert "No claim" in text_of(signed_in.get(reverse("claims")))
    line = sale.lines.first()
    new = reverse("claim_new", args=[line.pk])
    assert new in text_of(signed_in.get(reverse("sale", args=[sale.pk])))
    assert "Say what they report." in text_of(signed_in.post(new, {"day": today}))
    for _ in range(2):  # sent twice
        made = signed_in.post(new, {"kind": "dead", "day": today, "words": "White"})
    claim = Claim.objects.get()
    here = reverse("claim", args=[claim.pk])
    assert made["Location"] == here
    assert signed_in.get(new)["Location"] == here
    add = reverse("claim_add_picture", args=[claim.pk])
    assert "Choose a picture first" in text_of(signed_in.post(add, follow=True))
    bad = SimpleUploadedFile("x.jpg", b"no picture", "image/jpeg")
    assert "not a picture" in text_of(signed_in.post(add, {"picture": bad}, follow=True))
    signed_in.post(add, {"picture": SimpleUploadedFile("x.jpg", photo(), "image/jpeg")})
    picture = reverse("claim_picture", args=[ClaimPicture.objects.get().pk])
    assert picture in text_of(signed_in.get(here))
    served = signed_in.get(picture)
    assert served["Content-Type"] == "image/jpeg"
    assert Image.open(io.BytesIO(b"".join(served.streaming_content))).size == (40, 30)
    settle = reverse("claim_settle", args=[claim.pk])
    assert 'value="25.00"' in text_of(signed_in.get(settle))
    assert "Give the code of the plug" in text_of(signed_in.post(settle, {"outcome": "replaced", "day": today}))
    too_much = signed_in.post(settle, {"outcome": "refunded", "amount": "90", "method": "cash", "day": today})
    assert "is more than the €50.00" in text_of(too_much)
    told = {"outcome": "refunded", "amount": "25", "method": "cash", "day": today}
    assert signed_in.post(settle, told)["Location"] == here
    assert "€25.00" in text_of(signed_in.get(here))
    assert signed_in.get(settle)["Location"] == here
    settled = text_of(signed_in.get(reverse("claims") + "?which=settled"))
    assert "reported dead" in settled
    assert "Refunded" in settled
    assert "Every claim is settled." in text_of(signed_in.get(reverse("claims")))


def test_a_picture_is_for_those_signed_in(client, claim):
    kept = add_picture(claim=claim, data=photo())
    answer = client.get(reverse("claim_picture", args=[kept.pk]))
    assert answer.status_code == 302
    assert "picture" not in answer["Location"].split("?")[0]


def test_pictures_are_shown_small_in_lists_and_served_as_nothing_but_pictures(signed_in, claim):
    kept = add_picture(claim=claim, data=photo(size=(900, 600)))
    small = reverse("claim_thumbnail", args=[kept.pk])
    for address in (reverse("claims"), reverse("claim", args=[claim.pk])):
        assert f'src="{small}"' in text_of(signed_in.get(address))
    served = signed_in.get(small)
    picture = Image.open(io.BytesIO(served.content))
    assert (picture.format, picture.size, dict(picture.getexif())) == ("JPEG", (320, 320), {})
    for answer in (served, signed_in.get(reverse("claim_picture", args=[kept.pk]))):
        assert answer["Content-Type"] == "image/jpeg"
        assert answer["X-Content-Type-Options"] == "nosniff"
        assert answer["Content-Security-Policy"].startswith("default-src 'self'")
        assert "private" in answer["Cache-Control"]


def test_a_page_put_in_the_place_of_a_picture_is_not_shown_as_one(signed_in, claim):
    kept = add_picture(claim=claim, data=photo())
    with kept.file.storage.open(kept.file.name, "wb") as file:
        file.write(b"<script>alert(1)</script>")
    assert signed_in.get(reverse("claim_thumbnail", args=[kept.pk])).status_code == 404
    served = signed_in.get(reverse("claim_picture", args=[kept.pk]))
    assert (served["Content-Type"], served["X-Content-Type-Options"]) == ("image/jpeg", "nosniff")
    kept.file.storage.delete(kept.file.name)
    for name in ("claim_thumbnail", "claim_picture"):
        assert signed_in.get(reverse(name, args=[kept.pk])).status_code == 404


def test_the_list_costs_the_same_queries_however_many_pictures(signed_in, sale, today, django_assert_num_queries):
    claims = [report_claim(line=line, kind="dead", on=today, today=today) for line in sale.lines.all()]
    add_picture(claim=claims[0], data=photo())
    signed_in.get(reverse("claims"))
    with django_assert_num_queries(5):
        signed_in.get(reverse("claims"))
    for claim in claims * 2:
        add_picture(claim=claim, data=photo())
    with django_assert_num_queries(5):
        signed_in.get(reverse("claims"))


def test_a_late_claim_is_taken_knowingly(signed_in, sale, today):
    Sale.objects.update(left_on=today - timedelta(days=20), agreed_on=today - timedelta(days=20))
    new = reverse("claim_new", args=[sale.lines.first().pk])
    asked = text_of(signed_in.post(new, {"kind": "died_later", "day": today}))
    assert "more than 14 days before" in asked
    assert signed_in.post(new, {"kind": "died_later", "day": today, "confirmed": "on"}).status_code == 302


def test_credit_is_never_given_to_everybody_who_is_not_named(today):
    plug = ReadyPlugFactory()
    sale = sell_at_market(items=items_of(plug, price=25), today=today)
    claim = report_claim(line=sale.lines.get(), kind=Claim.Kind.DEAD, on=today, today=today)
    with pytest.raises(BadValue, match="everybody's who is not named"):
        settle_claim(claim=claim, outcome=Claim.Outcome.CREDIT, amount=Decimal(25), on=today, today=today)
    settle_claim(claim=claim, outcome=Claim.Outcome.REFUNDED, amount=Decimal(25), on=today, today=today)
    assert not Credit.objects.exists()

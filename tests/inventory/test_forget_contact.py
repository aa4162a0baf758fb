"""Somebody is forgotten: nothing of them is left in any column of any table, and every sum stays what it was."""

import io
import json
from datetime import timedelta
from decimal import Decimal

import pytest
from axes.models import AccessAttempt
from django.apps import apps
from django.contrib.sessions.models import Session
from django.core.management import call_command
from django.db import DatabaseError, connection, models, transaction
from django.utils.timezone import localdate
from PIL import Image

from inventory.actions.begin_sale import agree_sale, begin_sale, cancel_sale, close_sale, reopen_sale
from inventory.actions.claim import add_picture, report_claim, settle_claim
from inventory.actions.forget_contact import forget_contact
from inventory.actions.give_up_credit import give_up_credit
from inventory.actions.hand_over import hand_over, sell_now
from inventory.actions.hold_deposits import settle_hold_deposit, take_hold_deposit
from inventory.actions.hold_plugs import hold_plugs, release_hold
from inventory.actions.keep_contact import contact_named, keep_contact
from inventory.actions.keep_safe import end_safekeeping, leave_with
from inventory.actions.let_go import let_go
from inventory.actions.merge_contacts import RECORDS, merge_contacts
from inventory.actions.pay_sale import refund, take_payment
from inventory.actions.trade import cancel_trade, trade
from inventory.actions.wait_in_line import give_up_waiting, wait_for
from inventory.errors import ContactForgotten, StillOpen
from inventory.models import Claim, ClaimPicture, Contact, Credit, Hold, Payment, Sale, Trade, Waiting
from inventory.readings.forgetting import OWN_NOTES, mentions, named_after, texts, traces_of
from inventory.readings.ledger import rows_of
from inventory.readings.sales import totals_of
from labels.models import KnownKey
from propagation.actions.acquire import PackLine
from propagation.actions.correct_plug import void_plug
from propagation.errors import AlreadyDone, BadValue
from propagation.models import Acquisition, Pack
from tests.factories import ColonyFactory, ContactFactory, HoldFactory, LineageFactory, PlugFactory, ReadyPlugFactory
from tests.inventory.sales import begun, items_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("files")]

NAME, NICKNAME, REACH = "Quentessa Marsh", "Quenta", "qm-0171-5550"


@pytest.fixture
def today():
    return localdate()


def picture():
    written = io.BytesIO()
    Image.new("RGB", (30, 20), "teal").save(written, "JPEG")
    return written.getvalue()


def everything(contact, today, by):
    """All that can be between a keeper and a contact, brought to an end; and their name in the notes of others."""
    word = f"{contact.name} said so"
    held = ReadyPlugFactory(note=f"{contact.name.upper()} asked for it")
    void_plug(plug=PlugFactory(), reason=f"{contact.name} says there was none", today=today, by=by)
    asked = f"next=/sales/new/?contact={contact.name}"
    AccessAttempt.objects.create(username=contact.name[:3], get_data=asked, post_data="", failures_since_start=1)
    (hold,) = hold_plugs(plugs=[held], contact=contact, until=today, today=today, note=word, by=by)
    for how in ("refund", "credit", "refund"):
        take_hold_deposit(hold=hold, amount=Decimal(5), today=today, by=by)
        settle_hold_deposit(hold=hold, how=how, today=today, by=by)
    release_hold(hold=hold, today=today, by=by)
    others = HoldFactory(until=today + timedelta(days=3), contact__note=f"Friend of {contact.name}", note=word)
    give_up_waiting(
        waiting=wait_for(plug=others.plug, contact_name=contact.name, today=today, note=word, by=by), today=today, by=by
    )
    sale = begin_sale(contact=contact, items=items_of(others.plug, ReadyPlugFactory()), today=today, note=word, by=by)
    take_payment(sale=sale, amount=Decimal(20), today=today, note=word, by=by)
    hand_over(sale=agree_sale(sale=sale, today=today, by=by), today=today, by=by)
    take_payment(sale=sale, amount=Decimal(30), today=today, by=by)
    claim = report_claim(line=sale.lines.first(), kind="dead", on=today, today=today, words=word, by=by)
    add_picture(claim=claim, data=picture())
    settle_claim(claim=claim, outcome="credit", amount=Decimal(5), on=today, today=today, note=word, by=by)
    close_sale(sale=sale, today=today, by=by)
    give_up_credit(contact=contact, currency="EUR", today=today, by=by)
    Credit.objects.filter(contact=contact).update(note=word)
    trade(
        contact=contact,
        plugs=[ReadyPlugFactory()],
        lines=[PackLine(lineage="Marsh Lantern")],
        on=today,
        today=today,
        note=word,
        by=by,
    )
    given = leave_with(plug=ReadyPlugFactory(), contact=contact, on=today, today=today, note=word, by=by)
    end_safekeeping(safekeeping=given, outcome="theirs", on=today, today=today, by=by)
    let_go(plugs=[HoldFactory(until=today).plug], fate="given", on=today, today=today, contact=contact, by=by)
    ColonyFactory(note=f"A frag of it went to {contact.name}, reach {REACH}")
    Acquisition.objects.update(note=f"From {contact.name.lower()}’s tank")
    return sale


def cells():
    """Every text of every table: ``(table, column, text)``."""
    for model in apps.get_models(include_auto_created=True):
        kinds = models.CharField | models.TextField | models.JSONField | models.FileField
        for field in model._meta.concrete_fields:
            if isinstance(field, kinds):
                for value in model._base_manager.values_list(field.attname, flat=True):
                    yield model._meta.db_table, field.attname, str(value)
    for session in Session.objects.all():
        yield "sessions", "decoded", json.dumps(session.get_decoded())


def where(*words):
    return [cell for cell in cells() if any(word.casefold() in cell[2].casefold() for word in words)]


def sums():
    sales = list(Sale.objects.order_by("pk"))
    ledger = [(row.day, row.kind, row.pk, row.amount, row.about, row.about_id) for row in rows_of(None)]
    return (
        ledger,
        totals_of(sales),
        sorted(Payment.objects.values_list("pk", "sale", "kind", "method", "amount", "paid_on")),
        sorted(Credit.objects.values_list("pk", "contact", "amount", "currency", "on")),
        sorted(Trade.objects.values_list("pk", "contact", "cash", "traded_on")),
        {name: sorted(model.objects.values_list("pk", "contact")) for name, model in RECORDS.items()},
    )


@pytest.fixture
def somebody(signed_in, keeper, today):
    """Somebody with all that can be between, a former name, another contact merged into them, and a session."""
    contact = contact_named(name=NICKNAME, by=keeper)
    contact.reach = REACH
    keep_contact(contact=contact, by=keeper)
    everything(contact, today, keeper)
    contact.name, contact.note = NAME, "Pays cash"
    keep_contact(contact=contact, by=keeper)
    everything(contact, today, keeper)
    double = ContactFactory(name="Q. Marshington", reach="qm@reef.example")
    merge_contacts(contact=double, into=contact, today=today, by=keeper)
    session = signed_in.session
    session["hold_contact"] = {"id": contact.pk, "name": NAME}
    session["toast"] = {"words": f"Held for {NAME}.", "undo_fields": [["name", NAME]]}
    session.save()
    contact.refresh_from_db()
    return contact


def test_nothing_of_them_is_left_and_every_sum_stays(somebody, today, keeper):
    words = (NAME, NICKNAME, REACH, "Marshington", "qm@reef.example", "Pays cash")
    tables = {table for table, *_ in where(*words)}
    assert tables >= {
        "inventory_hold",
        "inventory_historicalhold",
        "propagation_pack",
        "propagation_historicalplug",
        "sessions",
        "axes_accessattempt",
    }
    reasons = {table for table, column, _ in where(*words) if column == "history_change_reason"}
    assert reasons == {"propagation_historicalplug"}
    before = sums()
    forgotten = forget_contact(contact=somebody, today=today, by=keeper)
    assert sums() == before
    assert where(*words) == []
    dumped = io.StringIO()
    call_command("dumpdata", stdout=dumped)
    assert not [word for word in words if word.casefold() in dumped.getvalue().casefold()]
    assert (forgotten.name, forgotten.forgotten_on) == (f"Forgotten person {somebody.pk}", today)
    assert set(forgotten.history.values_list("name", "reach", "note")) == {(forgotten.name, "", "")}
    assert forgotten.history.first().history_user == keeper


def test_what_others_were_told_still_reads_well(somebody, today):
    forget_contact(contact=somebody, today=today)
    instead = f"Forgotten person {somebody.pk}"
    sale = Sale.objects.filter(contact=somebody).first()
    notes = set(Hold.objects.exclude(contact=somebody).values_list("note", flat=True))
    assert f"{instead} said so. Promised to {instead} in sale {sale.pk}" in notes
    assert any(note.startswith(f"Given away to {instead} on ") for note in notes)
    trade = Trade.objects.filter(contact=somebody).first()
    assert Pack.objects.filter(name=f"Trade {trade.pk} with {instead}").exists()


def test_addresses_of_their_papers_are_made_anew_and_pictures_go(
    somebody, today, django_capture_on_commit_callbacks, tmp_path
):
    old = set(Sale.objects.values_list("secret", flat=True)) | set(Trade.objects.values_list("secret", flat=True))
    of_another = begun(today=today).secret
    assert len(list(tmp_path.rglob("*.jpg"))) == 2
    with django_capture_on_commit_callbacks(execute=True):
        forget_contact(contact=somebody, today=today)
    new = set(Sale.objects.values_list("secret", flat=True)) | set(Trade.objects.values_list("secret", flat=True))
    assert old & new == set()
    assert of_another in new
    assert not ClaimPicture.objects.exists()
    assert not list(tmp_path.rglob("*.jpg"))


def test_every_note_on_what_was_between_is_known():
    """Fails when a record of a contact gets another free text that forgetting was not taught about."""
    own = {(model, name) for model, names, _ in OWN_NOTES for name in names}
    near = set(RECORDS.values()) | {Payment, Claim}
    typed = {(text.model, text.field.attname) for text in texts() if text.model in near}
    assert own == typed


def test_every_column_of_text_is_looked_at_or_left_for_a_reason():
    """Fails when a column is added that is neither: say in readings/forgetting.py which it is."""
    looked_at = {(text.model, text.field.attname) for text in texts()}
    left = set()
    for model in apps.get_models():
        if model._meta.app_label not in ("propagation", "inventory", "labels") or hasattr(model, "instance_type"):
            continue
        for field in model._meta.concrete_fields:
            is_typed = isinstance(field, models.CharField | models.TextField) and field.editable
            if is_typed and not field.choices and not field.unique and (model, field.attname) not in looked_at:
                left.add(f"{model._meta.label}.{field.attname}")
    assert left == {
        "propagation.Lineage.name",
        "propagation.Lineage.sold_as",
        "propagation.Lineage.genus",
        "propagation.Lineage.species",
        "propagation.System.name",
        "propagation.Spot.name",
        "propagation.Colony.tag",
        "propagation.Photo.name",
        "propagation.Photo.suffix",
        "propagation.Photo.trouble",
        "propagation.Preferences.display_name",
        "propagation.Preferences.base_address",
        "propagation.Preferences.paper_name",
        "propagation.Preferences.postal_address",
        "propagation.Preferences.paper_reach",
        "propagation.Preferences.tax_number",
        "propagation.Preferences.receipt_closing",
        "inventory.Book.currency",
        "inventory.AcquisitionTerms.currency",
        "inventory.Hold.deposit_currency",
        "inventory.Sale.currency",
        "inventory.Credit.currency",
        "inventory.Trade.currency",
        "inventory.Contact.name",
        "inventory.Contact.reach",
        "inventory.Availability.headline",
        "inventory.Availability.wishes",
        "inventory.Availability.reach",
        "inventory.OfferPack.name",
        "labels.LabelStock.name",
        "labels.PrintRun.base_address",
        "labels.PrintedLabel.lineage_name",
        "labels.PrintedLabel.mother_tag",
    }


# -- what is open


def opened(contact, today):
    """One thing of each kind that is open, and the words that name it."""
    (hold,) = hold_plugs(plugs=[ReadyPlugFactory()], contact=contact, until=today, today=today)
    yield f"Plug {hold.plug.code_in_clear} is held for them", lambda: release_hold(hold=hold, today=today)
    (paid,) = hold_plugs(plugs=[ReadyPlugFactory()], contact=contact, until=today, today=today)
    take_hold_deposit(hold=paid, amount=Decimal(5), today=today)
    release_hold(hold=paid, today=today)
    yield "Their deposit lies on the hold", lambda: Hold.objects.filter(pk=paid.pk).update(deposit_fate="given_back")
    sale = begun(today=today, contact=contact)
    yield f"Sale {sale.pk} is draft; see it through, or call it off", lambda: cancel_sale(sale=sale, today=today)
    Credit.objects.create(contact=contact, amount=Decimal(7), currency="EUR", on=today)
    yield "€7.00 of credit is left", lambda: give_up_credit(contact=contact, currency="EUR", today=today)
    kept = leave_with(plug=ReadyPlugFactory(), contact=contact, on=today, today=today)
    yield (
        f"They keep plug {kept.plug.code_in_clear}",
        lambda: end_safekeeping(safekeeping=kept, outcome="lost", on=today, today=today),
    )
    sold = sell_now(contact=contact, items=items_of(ReadyPlugFactory()), today=today)
    close_sale(sale=sold, today=today)
    claim = report_claim(line=sold.lines.get(), kind="dead", on=today, today=today)
    yield (
        f"The claim for sale {sold.pk} waits",
        lambda: settle_claim(claim=claim, outcome="refused", on=today, today=today),
    )


def test_what_is_open_stands_in_the_way_each_with_its_way_out(today):
    contact = ContactFactory(name=NAME)
    things = list(opened(contact, today))
    for number, (_, end) in enumerate(things):
        with pytest.raises(StillOpen) as refused:
            forget_contact(contact=contact, today=today)
        said = [thing.sentence for thing in refused.value.things]
        assert len(said) == len(things) - number
        assert all(words in sentence for (words, _), sentence in zip(things[number:], said, strict=True)), said
        assert all(thing.url for thing in refused.value.things)
        contact.refresh_from_db()
        assert contact.name == NAME
        end()
    assert forget_contact(contact=contact, today=today).forgotten_on == today


def test_waiting_ends_with_the_wish(today):
    contact = ContactFactory(name=NAME)
    plug = HoldFactory(until=today).plug
    wait_for(plug=plug, contact_name=NAME, today=today)
    with pytest.raises(StillOpen, match=f"They wait for plug {plug.code_in_clear}"):
        forget_contact(contact=contact, today=today)
    forget_contact(contact=contact, today=today, end_waiting=True)
    assert Waiting.objects.get().ended_on == today


def test_a_hold_that_ended_by_itself_is_marked_so(today):
    hold = HoldFactory(until=today - timedelta(days=2))
    forget_contact(contact=hold.contact, today=today)
    hold.refresh_from_db()
    assert hold.released_on == today - timedelta(days=1)


# -- afterwards


def test_who_was_forgotten_gets_nothing_more(today):
    sold = sell_now(contact=ContactFactory(name=NAME), items=items_of(*ReadyPlugFactory.create_batch(2)), today=today)
    refused = report_claim(line=sold.lines.first(), kind="dead", on=today, today=today)
    settle_claim(claim=refused, outcome="refused", on=today, today=today)
    close_sale(sale=sold, today=today)
    traded = trade(
        contact=sold.contact,
        plugs=[ReadyPlugFactory()],
        lines=[PackLine(lineage="Marsh Lantern")],
        on=today,
        today=today,
    )
    contact = forget_contact(contact=sold.contact, today=today)
    plug, held = ReadyPlugFactory(), HoldFactory(until=today)
    told = {"today": today, "on": today}
    for act in (
        lambda: keep_contact(contact=contact),
        lambda: contact_named(name=contact.name.lower()),
        lambda: hold_plugs(plugs=[plug], contact=contact, until=today, today=today),
        lambda: wait_for(plug=held.plug, contact_name=contact.name, today=today),
        lambda: begin_sale(contact=contact, items=items_of(plug), today=today),
        lambda: trade(contact=contact, plugs=[plug], lines=[PackLine(lineage="Marsh Lantern")], **told),
        lambda: leave_with(plug=plug, contact=contact, **told),
        lambda: let_go(plugs=[plug], fate="given", contact=contact, **told),
        lambda: merge_contacts(contact=contact, into=ContactFactory(), today=today),
        lambda: merge_contacts(contact=ContactFactory(), into=contact, today=today),
        lambda: reopen_sale(sale=sold),
        lambda: refund(sale=sold, amount=Decimal(5), method="credit", today=today),
        lambda: report_claim(line=sold.lines.last(), kind="dead", **told),
        lambda: settle_claim(claim=refused, outcome="credit", amount=Decimal(5), **told),
        lambda: add_picture(claim=refused, data=picture()),
        lambda: cancel_trade(trade=traded, today=today),
        lambda: give_up_credit(contact=contact, currency="EUR", today=today),
    ):
        with pytest.raises((ContactForgotten, BadValue)) as answer:
            act()
        assert "forgotten" in str(answer.value)
    with pytest.raises(DatabaseError), transaction.atomic():
        Hold.objects.filter(pk=held.pk).update(contact=contact)
    assert contact not in Contact.objects.known()


def test_forgotten_twice_is_forgotten_once(today):
    contact = ContactFactory(name=NAME)
    first = forget_contact(contact=contact, today=today)
    again = forget_contact(contact=contact, today=today + timedelta(days=1))
    assert (again.name, again.forgotten_on) == (first.name, today)


def test_one_that_was_merged_is_forgotten_where_it_went(today):
    one, other = ContactFactory(), ContactFactory(name="Sela")
    merge_contacts(contact=one, into=other, today=today)
    with pytest.raises(AlreadyDone, match="merged into Sela"):
        forget_contact(contact=one, today=today)


def test_the_name_is_free_again_and_the_number_is_not(today):
    contact = ContactFactory(name=NAME)
    forgotten = forget_contact(contact=contact, today=today)
    assert contact_named(name=NAME) != forgotten
    with pytest.raises(BadValue, match="kept for people who were forgotten"):
        contact_named(name=f"forgotten PERSON {contact.pk + 100}")


def test_a_number_that_somebody_has_for_a_name_is_not_given(today):
    contact = ContactFactory(name=NAME)
    ContactFactory(name=f"Forgotten person {contact.pk}")
    assert forget_contact(contact=contact, today=today).name == f"Forgotten person {contact.pk}-1"


# -- what only looks like them


def test_others_are_left_alone(today):
    contact, other = ContactFactory(name="Kim"), ContactFactory(name="Kim Berg")
    notes = ["For Kim Berg", "Kimberly has it", "for kim’s nano", "Promised to Kim Berg in sale 4. Kim knows"]
    plugs = [PlugFactory(note=note) for note in notes]
    forget_contact(contact=contact, today=today)
    instead = f"Forgotten person {contact.pk}"
    found = []
    for plug in plugs:
        plug.refresh_from_db()
        found.append(plug.note)
    assert found == [
        "For Kim Berg",
        "Kimberly has it",
        f"for {instead}’s nano",
        f"Promised to Kim Berg in sale 4. {instead} knows",
    ]
    other.refresh_from_db()
    assert other.name == "Kim Berg"


def test_notes_that_only_look_like_the_name_may_stay(today):
    contact = ContactFactory(name="Green")
    plug = PlugFactory(note="Green tips")
    lineage = LineageFactory(name="Green Lagoon")
    traces = traces_of(contact, instead="nobody")
    assert [(each.what, each.excerpt) for each in mentions(contact, traces)] == [("Plug", "Green tips")]
    assert [(each.what, each.excerpt) for each in named_after(traces)] == [("Lineage", "Green Lagoon")]
    held = HoldFactory(note="Promised to Green on Friday")
    forget_contact(contact=contact, today=today, also_in_notes=False)
    for each in (plug, lineage, held):
        each.refresh_from_db()
    assert (plug.note, lineage.name) == ("Green tips", "Green Lagoon")
    assert held.note == f"Promised to Forgotten person {contact.pk} on Friday"


def test_a_former_name_that_is_now_another_persons_is_struck_only_where_it_is_theirs(today):
    contact = contact_named(name="Kim")
    plugs = ReadyPlugFactory.create_batch(2)
    for plug in plugs:
        HoldFactory(plug=plug, until=today)
    theirs = begin_sale(contact=contact, items=items_of(plugs[0]), today=today)
    cancel_sale(sale=theirs, today=today)
    contact.name = "Kim Lund"
    keep_contact(contact=contact)
    others = begin_sale(contact=contact_named(name="Kim"), items=items_of(plugs[1]), today=today)
    forget_contact(contact=contact, today=today)
    notes = set(Hold.objects.exclude(contact=contact).values_list("note", flat=True))
    assert notes == {
        f"Promised to Forgotten person {contact.pk} in sale {theirs.pk}",
        f"Promised to Kim in sale {others.pk}",
    }


def test_a_sentence_cut_short_in_the_name_is_struck_too(today):
    contact = ContactFactory(name=NAME)
    hold = HoldFactory(note="Promised to Quentessa Ma. Deposit of €5.00 given back on 3 May 2026")
    forget_contact(contact=contact, today=today)
    hold.refresh_from_db()
    assert hold.note == f"Promised to Forgotten person {contact.pk}. Deposit of €5.00 given back on 3 May 2026"


@pytest.mark.parametrize("name", ["Zoë Ørsted", "ÜLKÜ", "A. (Bob) %_", "李雷"])
def test_names_of_any_letters_are_found_in_any_case(today, name):
    contact = ContactFactory(name=name)
    plug = PlugFactory(note=f"For {name.upper()}, and {name.lower()}")
    forget_contact(contact=contact, today=today)
    plug.refresh_from_db()
    assert plug.note == f"For Forgotten person {contact.pk}, and Forgotten person {contact.pk}"


def test_a_note_that_would_not_fit_says_less(today):
    contact = ContactFactory(name="Al")
    room = Hold._meta.get_field("note").max_length
    hold = HoldFactory(note=f"{'x' * (room - 7)} Al low")
    forget_contact(contact=contact, today=today)
    hold.refresh_from_db()
    assert hold.note == f"{'x' * (room - 7)} … low"


def test_two_things_that_must_differ_in_name_still_differ(today):
    contact = contact_named(name="Kim")
    contact.name = "Kim Lund"
    keep_contact(contact=contact)
    for number, name in enumerate(("Kim", "Kim Lund")):
        KnownKey.objects.create(did=f"did:key:{number}", name=name)
    forget_contact(contact=contact, today=today)
    names = set(KnownKey.objects.values_list("name", flat=True))
    assert len(names) == 2
    assert all(name.startswith("Forgotten person") for name in names)


def test_nothing_is_left_in_the_file(at_once, today, tmp_path):
    if connection.vendor != "sqlite":
        pytest.skip("Only SQLite keeps what was overwritten in a file of one's own.")
    contact = ContactFactory(name=NAME, reach=REACH, note="x" * 50)
    for _ in range(20):
        contact.note += f"{NAME} "
        contact.save()

    def forget():
        forget_contact(contact=contact, today=today)
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")

    (answer,) = at_once([forget])
    assert answer is None
    assert NAME.encode() not in (tmp_path / "copy.sqlite3").read_bytes()


def test_a_way_too_short_to_mean_anything_is_not_looked_for(today):
    contact = ContactFactory(name=NAME, reach="77")
    plug = PlugFactory(note="PAR 77")
    forget_contact(contact=contact, today=today)
    plug.refresh_from_db()
    assert plug.note == "PAR 77"


def test_what_is_sold_while_somebody_is_forgotten_is_refused_or_stands_in_the_way(at_once, today):
    contact, plugs = ContactFactory(name=NAME), ReadyPlugFactory.create_batch(3)

    def sell(plug):
        return lambda: begin_sale(contact=contact, items=items_of(plug), today=today)

    *_, answer = at_once([*map(sell, plugs), lambda: forget_contact(contact=contact, today=today)])
    ((name, begun_at_all),) = at_once([lambda: (Contact.objects.get(pk=contact.pk).name, Sale.objects.exists())])
    if isinstance(answer, Contact):
        assert (name, begun_at_all) == (f"Forgotten person {contact.pk}", False)
    else:
        assert type(answer).__name__ in ("StillOpen", "ChangedMeanwhile"), answer
        assert (name, begun_at_all) == (NAME, True)

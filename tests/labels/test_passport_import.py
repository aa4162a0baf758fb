"""What comes with a passport is taken in with it; what cannot be is refused, and nothing is recorded."""

import json
import subprocess
import sys
from dataclasses import replace
from datetime import date, datetime, timedelta
from decimal import Decimal

import pytest
from django.conf import settings as django_settings
from django.db import IntegrityError

from config.home import kept_secret
from inventory.actions.acquire_from import Deal
from labels.actions.import_passport import import_passport
from labels.actions.issue_passport import issue_passport
from labels.actions.name_key import name_key
from labels.errors import OwnPlugNeverLeft, PassportCameAlready
from labels.keeper_key import keeper_did, keeper_key, own_did
from labels.models import KnownKey, Passport
from labels.passports.errors import KeyUnreadable, PassportRefused
from labels.passports.reading import read_passport
from labels.passports.signing import canonical, did_of, read_key
from labels.readings.passports import judge
from propagation.actions.correct_plug import void_plug
from propagation.actions.part_with import part_with
from propagation.errors import AlreadyDone, BadDate, BadValue, ChangedMeanwhile, NameTaken, PlugGone
from propagation.models import Acquisition, Lineage, Plug, Preferences
from propagation.readings.trace import told_trace
from tests.factories import ColonyFactory, CutEventFactory, LineageFactory, PlugFactory, RackFactory, SpotFactory
from tests.labels.passport_samples import CODE, KEY, NOW, OTHER_KEY, chained, line, read, signed

pytestmark = pytest.mark.django_db

TODAY = NOW.date()


@pytest.fixture(autouse=True)
def home(settings, tmp_path):
    """A folder of one's own for the key."""
    settings.RAMET_HOME = tmp_path
    return tmp_path


def deal(**kwargs) -> Deal:
    return Deal(**{"on": date(2026, 6, 1), "kind": "trade", "contact_name": "The shed", "amount": None} | kwargs)


def bring_in(document=None, *, terms=None, **kwargs):
    data = document if isinstance(document, bytes) else canonical(document or signed())
    return import_passport(data=data, deal=terms or deal(), today=TODAY, now=NOW, **kwargs)


def mother(**kwargs):
    return ColonyFactory(**{"tag": "MOTHER-2", "lineage__name": "Harbour Ember"} | kwargs)


def frag_of(colony, on=date(2026, 4, 1)):
    return PlugFactory(cut_event=CutEventFactory(mother=colony, session__cut_on=on))


def gone(plug, on=date(2026, 5, 1)):
    part_with(plugs=[plug], fate="traded", on=on, today=TODAY)
    return plug


# Issued --------------------------------------------------------------------------------------------------------------


def test_a_passport_tells_what_the_records_say():
    Preferences.objects.create(pk=1, display_name="The Backwater Bench")
    first = mother(tag="GRAND 1", lineage__origin="maricultured", lineage__note="Secret note", note="Secret too")
    grown = frag_of(first, date(2025, 3, 3))
    Plug.objects.filter(pk=grown.pk).update(fate="grown_on", ended_on=date(2025, 6, 1))
    plug = frag_of(ColonyFactory(tag="MOTHER-2", grown_from=grown, lineage=first.lineage, began_on=date(2025, 6, 1)))
    data = issue_passport(individual=plug, now=NOW)
    passport = read_passport(data, now=NOW)
    told = passport.line
    assert (told.code, told.name, told.scientific_name, told.origin) == (
        plug.code,
        "Harbour Ember",
        "Acropora millepora",
        "maricultured",
    )
    assert [(each.came_by, each.tag, each.began) for each in told.individuals] == [
        ("Cut", "", date(2026, 4, 1)),
        ("Growing on", "MOTHER-2", date(2025, 6, 1)),
        ("Cut", "", date(2025, 3, 3)),
        ("Acquisition", "GRAND 1", date(2024, 1, 10)),
    ]
    assert passport.keeper == "The Backwater Bench"
    assert passport.did == keeper_did()
    assert b"Secret" not in data
    assert grown.code.encode() not in data
    assert first.code.encode() not in data


def test_a_colony_has_a_passport_too():
    colony = mother()
    told = read_passport(issue_passport(individual=colony, now=NOW), now=NOW).line
    assert told.itself.tag == "MOTHER-2"
    assert told.code == colony.code


def test_a_plug_recorded_by_mistake_has_none():
    plug = PlugFactory()
    Plug.objects.filter(pk=plug.pk).update(fate="void", ended_on=plug.began_on)
    plug.refresh_from_db()
    with pytest.raises(PlugGone, match="void"):
        issue_passport(individual=plug, now=NOW)


def test_the_key_is_made_once_kept_private_and_never_replaced(home):
    assert own_did() == ""
    did = keeper_did()
    path = home / "keys" / "passport_key.pem"
    assert path.stat().st_mode & 0o777 == 0o600
    assert keeper_did() == own_did() == did
    path.write_text("spoilt")
    with pytest.raises(KeyUnreadable, match="backup"):
        keeper_key()
    assert own_did() == ""
    assert path.read_text() == "spoilt"


# Taken in ------------------------------------------------------------------------------------------------------------


def test_a_plug_comes_with_its_passport(keeper):
    rack = RackFactory()
    acquisition = bring_in(
        terms=deal(amount=Decimal(20)), stage="sealed", size_mm=Decimal(30), rack=rack, by=keeper, growth_form="tabling"
    )
    plug = acquisition.plugs.get()
    assert (plug.stage, plug.size_mm, plug.rack, plug.began_on) == ("sealed", 30, rack, date(2026, 6, 1))
    assert (acquisition.kind, acquisition.terms.contact.name, acquisition.terms.amount) == ("trade", "The shed", 20)
    lineage = acquisition.lineage
    assert (lineage.name, lineage.genus, lineage.species, lineage.origin, lineage.growth_form, lineage.sold_as) == (
        "Harbour Ember",
        "Acropora",
        "millepora",
        "maricultured",
        "tabling",
        "Harbour Ember",
    )
    passport = acquisition.passport
    assert passport.text == canonical(signed()).decode()
    assert (passport.code, passport.is_colony, passport.imported_by) == (CODE, False, keeper)
    assert passport.key.did == did_of(KEY)
    assert KnownKey.objects.get().name == ""


def test_a_colony_comes_with_its_passport():
    spot = SpotFactory()
    acquisition = bring_in(as_colony=True, tag="HE7", spot=spot)
    colony = acquisition.colonies.get()
    assert (colony.tag, colony.placements.get().spot) == ("HE7", spot)
    assert not acquisition.plugs.exists()


def test_it_joins_the_lineage_of_its_name_or_another():
    kept = LineageFactory(name="harbour ember", genus="", species="")
    assert bring_in().lineage == kept
    kept.refresh_from_db()
    assert (kept.genus, kept.sold_as) == ("", "")
    other = bring_in(chained(signed()), lineage_name="  Quay   Ember ").lineage
    assert other.name == "Quay Ember"
    assert other.sold_as == "Harbour Ember of the shed"


def test_the_same_form_sent_twice_is_one_act():
    submission = "6f1b2f0e-3c2a-4d8e-9d38-0f4a6d1a2b3c"
    assert bring_in(submission=submission) == bring_in(submission=submission)
    assert Acquisition.objects.count() == Passport.objects.count() == 1


def test_every_keeper_of_the_chain_becomes_known():
    bring_in(chained(signed()))
    assert set(KnownKey.objects.values_list("did", flat=True)) == {did_of(KEY), did_of(OTHER_KEY)}


@pytest.mark.parametrize(
    ("kwargs", "error", "sentence"),
    [
        ({"terms": deal(on=date(2026, 3, 31))}, BadDate, "before it began with its keeper on 1 Apr 2026"),
        ({"terms": deal(on=TODAY + timedelta(days=1))}, BadDate, "future"),
        ({"terms": deal(kind="returned")}, BadValue, "did not come back"),
        ({"terms": deal(amount=Decimal(-1))}, BadValue, "less than nothing"),
        ({"as_colony": True}, BadValue, "a tag"),
        ({"as_colony": True, "tag": "TAKEN"}, AlreadyDone, "TAKEN"),
        ({"tag": "HE7"}, BadValue, "no tag"),
        ({"document": b"{}"}, PassportRefused, "no passport"),
    ],
)
def test_what_is_refused_leaves_nothing_behind(kwargs, error, sentence):
    ColonyFactory(tag="TAKEN")
    before = (Acquisition.objects.count(), Lineage.objects.count())
    with pytest.raises(error, match=sentence):
        bring_in(**kwargs)
    assert (Acquisition.objects.count(), Lineage.objects.count()) == before
    assert not KnownKey.objects.exists()
    assert not Passport.objects.exists()


# Came already --------------------------------------------------------------------------------------------------------


def test_one_passport_comes_once():
    acquisition = bring_in()
    code = acquisition.plugs.get().code_in_clear
    for again in (signed(), signed(created=NOW), signed(line(name="Another name"))):
        with pytest.raises(PassportCameAlready, match=f"{code}.*acquisition {acquisition.pk}") as caught:
            bring_in(again)
        assert caught.value.acquisition == acquisition
    assert Acquisition.objects.count() == 1


def test_the_database_holds_it_too():
    acquisition = bring_in()
    passport = Passport.objects.get()
    passport.pk, passport.digest, passport.acquisition = None, "0" * 64, ColonyFactory().acquisition
    with pytest.raises(IntegrityError):
        passport.save()
    assert acquisition.passport


def test_one_recorded_by_mistake_can_come_again():
    first = bring_in()
    void_plug(plug=first.plugs.get(), reason="The wrong box", today=TODAY)
    second = bring_in()
    assert second != first
    assert Passport.objects.get().acquisition == second


def test_several_frags_of_one_colony_come_each_with_a_passport_of_its_day():
    whole = replace(line(), individuals=line().individuals[1:])
    first = bring_in(signed(whole))
    second = bring_in(signed(whole, created=NOW))
    assert first != second
    with pytest.raises(PassportCameAlready):
        bring_in(signed(whole))


# One's own -----------------------------------------------------------------------------------------------------------


def test_ones_own_plug_that_left_comes_back_as_a_return():
    plug = frag_of(mother())
    data = issue_passport(individual=plug, now=NOW)
    gone(plug)
    offer = judge(read_passport(data, now=NOW))
    assert offer.returned_plug == plug
    acquisition = bring_in(data, lineage_name="Never mind", terms=deal(kind="bought"))
    assert (acquisition.kind, acquisition.returned_plug, acquisition.lineage) == ("returned", plug, plug.lineage)
    assert acquisition.passport.key is None
    assert not KnownKey.objects.exists()
    assert not Lineage.objects.filter(name="Never mind").exists()


def test_ones_own_plug_that_never_left_is_not_brought_in():
    plug = frag_of(mother())
    data = issue_passport(individual=plug, now=NOW)
    with pytest.raises(OwnPlugNeverLeft, match=f"{plug.code_in_clear}.*never left"):
        bring_in(data)
    assert not Passport.objects.exists()


def test_a_frag_of_ones_own_plug_comes_back_through_another_keeper():
    plug = frag_of(mother())
    data = issue_passport(individual=plug, now=NOW - timedelta(days=30))
    gone(plug, on=date(2026, 4, 10))
    theirs = chained(read_passport(data, now=NOW).document)
    acquisition = bring_in(theirs)
    assert (acquisition.kind, acquisition.returned_plug, acquisition.lineage) == ("returned", plug, plug.lineage)
    again = acquisition.plugs.get()
    passport = read_passport(issue_passport(individual=again, now=NOW), now=NOW)
    assert [part.did for part in passport.parts()] == [keeper_did(), did_of(OTHER_KEY), keeper_did()]
    assert [each.came_by for each in passport.line.individuals] == ["Return", "Cut", "Acquisition"]
    told = told_trace(again)["passport"]
    assert [part["key"] for part in told] == [did_of(OTHER_KEY)]  # one's own part stands in the line itself


def test_a_chain_that_names_a_plug_that_never_left_is_a_warning():
    plug = frag_of(mother())
    theirs = chained(read_passport(issue_passport(individual=plug, now=NOW - timedelta(days=30)), now=NOW).document)
    offer = judge(read(theirs))
    assert any("never left you" in warning for warning in offer.warnings)
    assert bring_in(theirs).kind == "trade"


def test_a_key_that_was_lost_makes_somebody_new(home):
    plug = frag_of(mother())
    data = issue_passport(individual=plug, now=NOW)
    gone(plug)
    before = keeper_did()
    (home / "keys" / "passport_key.pem").unlink()
    assert keeper_did() != before
    offer = judge(read_passport(data, now=NOW))
    assert offer.returned_plug is None
    assert any(plug.code_in_clear in warning and "key that you lost" in warning for warning in offer.warnings)


def test_what_is_signed_by_oneself_but_not_in_the_records():
    offer = judge(read(signed(key=keeper_key())))
    assert any("not in your records" in warning for warning in offer.warnings)


def test_a_frag_of_ones_own_colony_says_so():
    colony = mother()
    offer = judge(read_passport(issue_passport(individual=colony, now=NOW), now=NOW))
    assert any("of your colony MOTHER-2" in warning for warning in offer.warnings)
    assert offer.lineage == colony.lineage


def test_another_species_under_the_same_name_is_a_warning():
    LineageFactory(name="Harbour Ember", genus="Montipora", species="digitata")
    assert any("Montipora digitata" in warning for warning in judge(read(signed())).warnings)


# Handed on -----------------------------------------------------------------------------------------------------------


def test_the_line_goes_on_and_each_part_can_be_checked():
    acquisition = bring_in()
    came = acquisition.plugs.get()
    Plug.objects.filter(pk=came.pk).update(fate="grown_on", ended_on=date(2026, 6, 2))
    colony = ColonyFactory(tag="HE9", grown_from=came, lineage=came.lineage, began_on=date(2026, 6, 2))
    plug = frag_of(colony, date(2026, 6, 10))
    passport = read_passport(issue_passport(individual=plug, now=NOW), now=NOW)
    assert [part.did for part in passport.parts()] == [keeper_did(), did_of(KEY)]
    assert passport.line.individuals[-1].prior == passport.priors[0].about
    assert canonical(passport.priors[0].document) == canonical(signed())
    (told,) = told_trace(plug)["passport"]
    assert (told["key"], told["name"], told["code"]) == (did_of(KEY), "The Lagoon Shed", "G6X9-8HR4")
    assert [step["date"] for step in told["steps"]] == [
        date(2026, 4, 1),
        date(2025, 6, 1),
        date(2025, 3, 3),
        date(2024, 1, 10),
    ]
    assert "passport" not in told_trace(PlugFactory())


def test_a_key_gets_a_name_that_no_other_has():
    bring_in(chained(signed()))
    first, second = KnownKey.objects.order_by("pk")
    assert name_key(key=first, name="  The   shed ").name == "The shed"
    with pytest.raises(NameTaken, match="a key named the SHED already"):
        name_key(key=second, name="the SHED")
    with pytest.raises(BadValue, match="too long"):
        name_key(key=second, name="x" * 81)
    with pytest.raises(ChangedMeanwhile):
        name_key(key=first, name="Other", based_on=1_000_000)
    assert name_key(key=first, name="").name == ""
    assert name_key(key=second, name="").name == ""  # several may be without
    assert first.history.count() == 3


# Two keepers ---------------------------------------------------------------------------------------------------------


def ramet(home, *arguments, code=0):
    """Run a command in a home of its own, on SQLite; returns what it printed, or why it refused."""
    done = subprocess.run(
        [sys.executable, "manage.py", *arguments],
        cwd=django_settings.BASE_DIR,
        env={"RAMET_HOME": str(home), "PATH": "/usr/bin:/bin"},
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert done.returncode == code, done.stderr
    return done.stderr if code else done.stdout


def test_two_keepers_exchange_a_plug_by_files_alone(tmp_path, migrated_home):
    """Two homes, two databases, two keys: nothing goes from one to the other but the file."""
    one, two = tmp_path / "one", tmp_path / "two"
    theirs = tmp_path / "theirs.jsonld"
    theirs.write_bytes(canonical(chained(signed(), created=datetime.now(NOW.tzinfo) - timedelta(days=1))))
    migrated_home(one)
    ramet(one, "migrate", "-v0")
    two.mkdir()
    (two / "ramet.sqlite3").write_bytes((one / "ramet.sqlite3").read_bytes())
    first = json.loads(ramet(one, "import_passport", str(theirs), "--json", "--kind", "gift", "--from", "Quay"))
    (code,) = first["plugs"]
    ramet(one, "passport", code, "--out", str(tmp_path / "handed.jsonld"))
    told = json.loads(ramet(two, "import_passport", str(tmp_path / "handed.jsonld"), "--json", "--tag", "HE1"))
    assert told["colonies"] == ["HE1"]
    assert [part["code"] for part in told["passport"]] == [code, "TDSP-NJ3T", "G6X9-8HR4"]
    assert told["lineage"] == "Harbour Ember of the shed"
    key = read_key((one / "keys" / "passport_key.pem").read_text())
    assert [part["key"] for part in told["passport"]] == [did_of(key), did_of(OTHER_KEY), did_of(KEY)]
    assert not (two / "keys" / "passport_key.pem").exists()  # who only reads needs none


def test_a_secret_is_never_overwritten_even_where_files_have_no_second_name(tmp_path, monkeypatch):
    """On a stick formatted for cameras there are no hard links; who comes second takes what the first one wrote."""
    path = tmp_path / "keys" / "secret"

    def no_links(source, target):
        raise PermissionError("no links here")

    monkeypatch.setattr("config.home.os.link", no_links)
    assert kept_secret(path, lambda: "first") == "first"
    assert kept_secret(path, lambda: "second") == "first"
    assert path.stat().st_mode & 0o777 == 0o600

    def made_while_somebody_else_was_quicker():
        other.write_text("theirs")
        return "ours"

    other = tmp_path / "keys" / "other"
    assert kept_secret(other, made_while_somebody_else_was_quicker) == "theirs"
    assert sorted(each.name for each in path.parent.iterdir()) == ["other", "secret"]

"""The page of next cuts, the card on a mother's page, and the command."""

import functools
import json
from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.utils.timezone import localdate

from inventory.models import LineagePrice
from propagation.dates import day_in_words
from propagation.models import ColonyOutlook, IncidentKind
from propagation.readings.next_cuts import in_sections, next_cut_rows
from tests.factories import ColonyFactory, IncidentFactory, PlacementFactory

pytestmark = pytest.mark.django_db
TODAY = localdate()


@pytest.fixture
def grown(grown):
    """Measured up to the day on which the pages are looked at."""
    return functools.partial(grown, last_on=TODAY)


def command(*arguments):
    out = StringIO()
    call_command("next_cuts", *arguments, stdout=out)
    return out.getvalue()


@pytest.fixture
def four(grown):
    """One ready, one growing, one unwell, one that shrinks."""
    unwell = grown(tag="D4", first=60, gain=8)
    IncidentFactory(colony=unwell, kind=IncidentKind.SLOW_TISSUE_LOSS, opened_on=TODAY)
    return {
        "ready": grown(tag="A1", first=60, gain=8, lineage__name="Lantern Quay"),
        "growing": grown(tag="B2", first=30, gain=4),
        "unwell": unwell,
        "shrinking": grown(tag="C3", first=70, gain=-2.5),
    }


def test_mothers_stand_in_sections_as_a_keeper_acts_on_them(four):
    sections = in_sections(next_cut_rows(TODAY), TODAY)
    assert [(section.name, [row.colony.tag for row in section.rows]) for section in sections] == [
        ("now", ["A1"]),
        ("later", ["B2"]),
        ("alone", ["D4"]),
        ("never", ["C3"]),
    ]


def test_the_page_says_when_how_many_and_why(signed_in, four):
    page = signed_in.get("/next-cuts/").content.decode()
    assert page.index("Ready to cut") < page.index("Leave alone") < page.index("Not within three years")
    for reason in ColonyOutlook.objects.get(colony=four["unwell"]).because:
        assert reason in page
    assert "/cut/?mother=A1" in page


def test_worth_is_what_will_heal_and_is_not_kept_times_the_price(signed_in, four):
    lineage = four["ready"].lineage
    LineagePrice.objects.create(lineage=lineage, amount=30)
    row = next(row for row in next_cut_rows(TODAY) if row.colony == four["ready"])
    assert float(row.worth) == pytest.approx(30 * (row.outlook.usable - row.outlook.for_insurance), abs=0.3)
    page = signed_in.get("/next-cuts/?order=worth").content.decode()
    assert row.worth_words in page
    assert page.index(">A1<") < page.index(">B2<")


def test_nothing_is_worth_nothing_when_all_frags_are_kept(four):
    lineage = four["ready"].lineage
    lineage.insurance_wanted = 100
    lineage.save()
    LineagePrice.objects.create(lineage=lineage, amount=30)
    row = next(row for row in next_cut_rows(TODAY) if row.colony == four["ready"])
    assert row.worth == 0


@pytest.mark.parametrize(("query", "shown"), [("text=lantern", ["A1"]), ("text=b2", ["B2"]), ("text=none such", [])])
def test_the_filter_finds_by_tag_and_lineage(signed_in, four, query, shown):
    page = signed_in.get(f"/next-cuts/?{query}").content.decode()
    assert [tag for tag in ("A1", "B2", "C3", "D4") if f">{tag}<" in page] == shown
    if not shown:
        assert "No mother fits" in page


def test_the_filter_by_system(signed_in, four):
    placement = PlacementFactory(colony=four["growing"])
    page = signed_in.get(f"/next-cuts/?system={placement.spot.system_id}").content.decode()
    assert ">B2<" in page
    assert ">A1<" not in page


def test_without_a_mother_the_page_says_what_to_do(signed_in):
    assert "No mother yet" in signed_in.get("/next-cuts/").content.decode()


def test_the_page_costs_the_same_for_few_and_many(signed_in, grown, django_assert_max_num_queries):
    grown()
    signed_in.get("/next-cuts/")
    with django_assert_max_num_queries(14) as few:
        signed_in.get("/next-cuts/")
    for _ in range(8):
        grown(months=3)
    signed_in.get("/next-cuts/")
    with django_assert_max_num_queries(14) as many:
        signed_in.get("/next-cuts/")
    assert len(few) == len(many)


def test_a_mothers_page_answers_at_a_glance(signed_in, four):
    page = signed_in.get("/colonies/B2/").content.decode()
    found = ColonyOutlook.objects.get(colony=four["growing"])
    assert "next-cut-when" in page
    assert day_in_words(found.day) in page
    assert found.because[0] in page
    ended = ColonyFactory(tag="E5", ended_on=TODAY, end_reason="died")
    assert "next-cut-when" not in signed_in.get(f"/colonies/{ended.tag}/").content.decode()


def test_the_command_answers_in_plain_values(four):
    answer = json.loads(command("--json"))
    assert [each["tag"] for each in answer] == ["A1", "B2", "C3", "D4"]
    first = answer[0]
    assert set(first) == {"tag", "lineage", "day", "earliest", "latest", "frags", "usable", "binds", "because"}
    assert first["day"] == TODAY.isoformat()
    assert set(first["frags"]) == {"low", "median", "high"}
    assert answer[3]["binds"] == "health"
    assert answer[3]["day"] is None


def test_the_command_reads_well(four):
    told = command()
    assert "Ready to cut:\n  A1 · Lantern Quay: now, " in told
    assert f"Slow tissue loss since {day_in_words(TODAY)}." in told


def test_the_command_for_another_day(four):
    started = json.loads(command("--on", (TODAY - timedelta(days=350)).isoformat(), "--json"))
    assert next(each for each in started if each["tag"] == "A1")["binds"] == "size"
    later = json.loads(command("--on", (TODAY + timedelta(days=200)).isoformat(), "--json"))
    assert next(each for each in later if each["tag"] == "B2")["day"] == (TODAY + timedelta(days=200)).isoformat()
    assert "No colony lives on 1 Jan 2000." in command("--on", "2000-01-01")


@pytest.mark.parametrize(("day", "words"), [("1926-06-15", "15 Jun 1926"), ("2199-01-01", "1 Jan 2199")])
def test_the_command_refuses_a_day_in_the_wrong_century(day, words):
    with pytest.raises(CommandError, match=f"Nothing can be said of {words}"):
        command("--on", day)


def test_the_bench_says_what_a_mother_has_the_size_for(signed_in, four):
    signed_in.get("/next-cuts/")
    bench = signed_in.get("/cut/").content.decode()
    ready, growing = (ColonyOutlook.objects.get(colony=four[name]) for name in ("ready", "growing"))
    assert f"size for {ready.frags_low} to {ready.frags_high} frags" in bench
    assert f"large enough about {day_in_words(growing.day)}" in bench

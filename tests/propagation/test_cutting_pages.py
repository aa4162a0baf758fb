"""The pages of a cutting session: recording it, looking at it, correcting it, reading it from a file."""

import re
from datetime import timedelta
from decimal import Decimal
from html import unescape
from io import BytesIO
from uuid import uuid4

import pytest
import qrcode
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils.timezone import localdate

from propagation.actions.record_cutting import MotherCut, record_cutting
from propagation.models import CutEvent, CuttingSession, Plug, Preferences
from tests.factories import (
    ColonyFactory,
    CutEventFactory,
    IncidentFactory,
    LineageFactory,
    PlugFactory,
    RackFactory,
)

pytestmark = pytest.mark.django_db
CUT = "/cut/"


@pytest.fixture
def now():
    return localdate()


@pytest.fixture
def mother():
    return ColonyFactory(tag="M012", lineage__insurance_wanted=0)


def entry(*cuts, do="save", submission=None, **further):
    """What a browser sends: ``cuts`` are (mother, {field: value})."""
    data = {"do": do, "submission": str(submission or uuid4()), "cut_on": str(localdate()), "rack": "", "note": ""}
    data["mother"] = [mother.pk for mother, _ in cuts]
    for mother, fields in cuts:
        fields = {"frags": 8, "size": 25, "measure": "diameter_mm"} | fields
        data |= {f"m{mother.pk}-{name}": value for name, value in fields.items()}
    return data | further


def words_of(response):
    text = re.sub(r"<(script|style).*?</\1>", " ", response.content.decode(), flags=re.S)
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", text)))


def test_the_page_offers_mothers_that_may_be_cut_before_those_that_rest(signed_in, now):
    resting = ColonyFactory(tag="R1")
    CutEventFactory(mother=resting, session__cut_on=now - timedelta(days=3))
    unwell = ColonyFactory(tag="U1")
    IncidentFactory(colony=unwell, opened_on=now)
    often = ColonyFactory(tag="Z9")
    for days in (400, 500):
        CutEventFactory(mother=often, session__cut_on=now - timedelta(days=days))
    ColonyFactory(tag="A1")
    ColonyFactory(tag="D1", ended_on=now - timedelta(days=5), end_reason="died")
    page = signed_in.get(CUT).content.decode()
    assert re.findall(r'data-mother="(\w+)"', page) == ["Z9", "A1", "R1", "U1"]
    assert "Rests until" in page


def test_opening_the_page_costs_the_same_however_many_mothers_there_are(signed_in, django_assert_max_num_queries, now):
    CutEventFactory.create_batch(3, session__cut_on=now - timedelta(days=100))
    with django_assert_max_num_queries(12) as few:
        signed_in.get(CUT)
    CutEventFactory.create_batch(12, session__cut_on=now - timedelta(days=100))
    with django_assert_max_num_queries(len(few.captured_queries)):
        signed_in.get(CUT)


def test_the_page_carries_the_bench_cautions(signed_in, mother):
    words = words_of(signed_in.get(CUT))
    for caution in ("palytoxin", "Eye protection", "Rinse tools", "medical help", "Local rules", "GFCI"):
        assert caution in words


def test_without_a_colony_the_page_shows_the_way_on(signed_in):
    assert "No colony yet" in words_of(signed_in.get(CUT))


def test_a_sitting_is_saved_and_the_labels_are_offered_at_once(signed_in, mother, keeper):
    other = ColonyFactory()
    response = signed_in.post(CUT, entry((mother, {}), (other, {"frags": 4})))
    session = CuttingSession.objects.get()
    assert response.url == reverse("session", args=[session.pk])
    assert session.saved_by == keeper
    assert Plug.objects.count() == 12
    page = signed_in.get(response.url)
    assert "12 plugs from 2 mothers" in words_of(page)
    for plug in Plug.objects.all():
        assert plug.code_in_clear in words_of(page).replace(" - ", "-")


def test_the_same_form_sent_twice_leads_to_the_same_session(signed_in, mother):
    data = entry((mother, {}))
    assert signed_in.post(CUT, data).url == signed_in.post(CUT, data).url
    assert CuttingSession.objects.count() == 1


def test_only_the_save_button_saves(signed_in, mother):
    for do in ("find", "", "anything"):
        assert signed_in.post(CUT, entry((mother, {}), do=do)).status_code == 200
    assert not CuttingSession.objects.exists()


def test_without_a_script_a_mother_is_added_and_what_was_typed_is_kept(signed_in, mother):
    added = ColonyFactory(tag="M013")
    response = signed_in.post(CUT, entry((mother, {"frags": 7, "note": "rim"}), do="find", find="m013", note="late"))
    page = response.content.decode()
    assert re.findall(r'data-mother="(M\w+)"', page)[:2] == ["M012", "M013"]
    for pk in (mother.pk, added.pk):
        assert f'value="{pk}" id="mother-{pk}" checked' in page
    assert 'value="7"' in page
    assert 'value="rim"' in page
    assert "late</textarea>" in page


def test_a_line_without_a_usual_count_takes_the_last_one_of_this_sitting(signed_in, mother):
    ColonyFactory(tag="M013")
    ColonyFactory(tag="M014", lineage__frags_per_cut=3)
    response = signed_in.post(CUT, entry((mother, {"frags": 7}), do="find", find="M013"))
    counts = {
        f.mother.tag: f["frags"].value()
        for f in (*response.context["bench"].mothers, *response.context["bench"].offered)
    }
    assert counts["M013"] == 7
    assert counts["M014"] == 3


def test_a_mother_is_found_by_name_tag_or_code(signed_in, mother):
    ColonyFactory(lineage=LineageFactory(name="Low Tide Glass"))
    for text, tag in (("tide gl", "Low Tide Glass"), ("m01", "M012"), (mother.code_in_clear, "M012")):
        words = words_of(signed_in.get("/cut/mothers/", {"find": text}))
        assert tag in words
        assert ("M012" in words) == (tag == "M012")


def test_a_search_leaves_out_what_is_chosen(signed_in, mother):
    words = words_of(signed_in.get("/cut/mothers/", {"find": "M012", "mother": mother.pk}))
    assert "M012 is in this sitting already" in words


def test_an_unknown_tag_comes_back_with_near_ones(signed_in, mother):
    assert "M012" in words_of(signed_in.get("/cut/mothers/", {"find": "M0l2"}))
    assert "Did you mean M012" in words_of(signed_in.post(CUT, entry(do="find", find="M0l2")))


def test_a_mistyped_code_says_so(signed_in, mother):
    wrong = mother.code[:-1] + ("2" if mother.code[-1] != "2" else "3")
    assert "mistyped" in words_of(signed_in.post(CUT, entry(do="find", find=wrong)))


def test_a_plugs_code_is_no_mother(signed_in, mother):
    assert "is a plug, not a mother" in words_of(signed_in.post(CUT, entry(do="find", find=PlugFactory().code)))


def test_a_mother_that_ended_is_named_with_its_end(signed_in):
    ColonyFactory(tag="D1", ended_on=localdate() - timedelta(days=3), end_reason="died")
    assert "D1 ended on" in words_of(signed_in.post(CUT, entry(do="find", find="D1")))


def picture_of(text):
    file = BytesIO()
    qrcode.make(text).save(file, "PNG")
    return SimpleUploadedFile("label.png", file.getvalue(), content_type="image/png")


def test_a_picture_of_its_label_chooses_a_mother_once(signed_in, mother):
    first = signed_in.post(CUT, entry(do="find", picture=picture_of(f"HTTPS://REEF.EXAMPLE/Q/{mother.code}")))
    assert f'id="mother-{mother.pk}" checked' in first.content.decode()
    again = signed_in.post(
        CUT, entry((mother, {}), do="find", picture=picture_of(f"HTTPS://REEF.EXAMPLE/Q/{mother.code}"))
    )
    assert "M012 is in this sitting already" in words_of(again)


def test_a_picture_without_a_code_says_so_and_keeps_what_was_typed(signed_in, mother):
    response = signed_in.post(
        CUT, entry((mother, {"note": "rim"}), do="find", picture=SimpleUploadedFile("x.png", b"no picture"))
    )
    assert "not a picture" in words_of(response)
    assert 'value="rim"' in response.content.decode()


def test_a_colony_page_may_lead_here_with_its_mother_chosen(signed_in, mother):
    assert f'id="mother-{mother.pk}" checked' in signed_in.get(CUT, {"mother": "M012"}).content.decode()


def test_a_resting_mother_shows_why_and_asks_for_a_reason(signed_in, mother, now):
    CutEventFactory(mother=mother, session__cut_on=now - timedelta(days=3))
    sessions = CuttingSession.objects.count()
    response = signed_in.post(CUT, entry((mother, {})))
    assert response.status_code == 422
    assert f'href="#id_m{mother.pk}-reason"' in response.content.decode()
    assert "Give a reason" in words_of(response)
    assert CuttingSession.objects.count() == sessions
    signed_in.post(CUT, entry((mother, {"reason": "it broke anyway"})))
    assert CuttingSession.objects.count() == sessions + 1


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"frags": -3}, "frags"),
        ({"frags": 5000}, "frags"),
        ({"frags": "many"}, "frags"),
        ({"frags": ""}, "frags"),
        ({"size": 900}, "size"),
        ({"size": "NaN"}, "size"),
        ({"before": 10, "after": 11}, "after"),
        ({"insurance": 9}, "insurance"),
        ({"before": "1e99"}, "before"),
    ],
)
def test_an_error_names_mother_and_field_links_to_it_and_loses_nothing(signed_in, mother, fields, field):
    response = signed_in.post(CUT, entry((mother, {"note": "rim pieces"} | fields)))
    page = response.content.decode()
    assert response.status_code == 422
    assert re.search(rf'<a href="#id_m{mother.pk}-{field}">M012 · ', page)
    assert f'id="id_m{mother.pk}-{field}"' in page
    assert 'value="rim pieces"' in page
    assert not CuttingSession.objects.exists()


@pytest.mark.parametrize("day", ["2999-01-01", "1926-06-15", "soon", ""])
def test_a_day_that_cannot_be_is_named(signed_in, mother, day):
    response = signed_in.post(CUT, entry((mother, {}), cut_on=day))
    assert response.status_code == 422
    assert 'href="#id_cut_on"' in response.content.decode()


def test_saving_without_a_mother_says_to_choose_one(signed_in, mother):
    assert "Choose at least one mother" in words_of(signed_in.post(CUT, entry()))


def test_the_rack_is_remembered_and_the_count_of_the_line(signed_in, mother, now):
    rack = RackFactory()
    signed_in.post(CUT, entry((mother, {"frags": 6}), rack=rack.pk))
    assert set(Plug.objects.values_list("rack", flat=True)) == {rack.pk}
    page = signed_in.get(CUT)
    assert f'<option value="{rack.pk}" selected' in page.content.decode()
    assert page.context["bench"].offered[0]["frags"].value() == 6


def test_insurance_is_suggested_when_the_line_has_fewer_copies_than_wanted(signed_in):
    ColonyFactory(lineage__insurance_wanted=3, lineage__frags_per_cut=8)
    page = signed_in.get(CUT)
    assert page.context["bench"].offered[0]["insurance"].value() == 2
    assert "1 living copy of 3 wanted" in words_of(page)


def test_a_keeper_who_thinks_in_inches_types_inches(signed_in, mother):
    Preferences.objects.create(pk=1, length_unit="inch")
    signed_in.post(CUT, entry((mother, {"size": "1.5", "before": "6", "after": "5"})))
    event = CuttingSession.objects.get().cut_events.get()
    assert (event.frag_size_mm, event.size_before, event.size_after) == (
        Decimal("38.1"),
        Decimal("152.4"),
        Decimal("127"),
    )


# The session afterwards -----------------------------------------------------------------------------------------------


@pytest.fixture
def session(mother, now, keeper):
    cut = MotherCut(mother, 8, Decimal(25), Decimal(180), Decimal(120), "diameter_mm", note="rim")
    return record_cutting(cuts=[cut], cut_on=now, today=now, by=keeper)


def correction(session, *, version=1, **changes):
    event = session.cut_events.first()
    fields = {
        "tag": "M012",
        "frags": 8,
        "size": 25,
        "measure": "diameter_mm",
        "before": 180,
        "after": 120,
        "note": "rim",
    }
    sent = {f"e{event.pk}-{name}": value for name, value in (fields | changes).items()}
    return sent | {"version": version, "cut_on": str(session.cut_on), "note": "", "new-tag": "", "new-frags": ""}


def address(session):
    return reverse("session_correct", args=[session.pk])


def test_a_correction_stands_on_the_session_page_as_a_sentence(signed_in, session):
    signed_in.post(address(session), correction(session, frags=7))
    words = words_of(signed_in.get(reverse("session", args=[session.pk])))
    assert "keeper : M012 8 → 7 frags" in words or "keeper: M012 8 → 7 frags" in words
    assert "7 plugs from 1 mother" in words


def test_a_form_that_was_not_touched_changes_nothing(signed_in, session):
    page = signed_in.get(address(session))
    assert page.status_code == 200
    assert "Nothing was different" in words_of(signed_in.post(address(session), correction(session), follow=True))
    session.refresh_from_db()
    assert session.version == 1


def test_a_form_in_inches_that_was_not_touched_changes_nothing(signed_in, session):
    Preferences.objects.create(pk=1, length_unit="inch")
    page = signed_in.get(address(session))
    (row,) = page.context["rows"]
    shown = {name: row[name].value() for name in ("size", "before", "after")}
    assert shown["before"] == Decimal("7.09")
    signed_in.post(address(session), correction(session, **shown))
    session.refresh_from_db()
    assert session.version == 1


def test_a_wrong_mother_is_corrected_by_its_tag_and_stale_labels_are_named(signed_in, session):
    Plug.objects.update(labelled_at="2026-06-05T12:00Z")
    right = ColonyFactory(tag="M013")
    words = words_of(signed_in.post(address(session), correction(session, tag="m013"), follow=True))
    assert session.cut_events.get().mother == right
    assert "print them again" in words
    assert "was M012" in words or "M012 was" in words


def test_an_unknown_mother_comes_back_with_near_ones_and_nothing_is_lost(signed_in, session):
    response = signed_in.post(address(session), correction(session, tag="M0l2", note="typed"))
    assert response.status_code == 422
    assert "Did you mean M012" in words_of(response)
    assert 'value="typed"' in response.content.decode()


def test_the_second_of_two_who_correct_is_told_what_the_first_did_and_loses_nothing(signed_in, session):
    signed_in.post(address(session), correction(session, frags=7))
    response = signed_in.post(address(session), correction(session, frags=9, note="mine"))
    words = words_of(response)
    assert response.status_code == 422
    assert "changed by somebody else" in words
    assert "M012 8 → 7 frags" in words
    assert 'value="mine"' in response.content.decode()
    assert 'name="version" value="2"' in response.content.decode()
    assert session.cut_events.get().frags == 7


def test_labelled_plugs_that_go_are_picked_on_the_page(signed_in, session):
    Plug.objects.update(labelled_at="2026-06-05T12:00Z")
    response = signed_in.post(address(session), correction(session, frags=7))
    event = session.cut_events.get()
    assert f'href="#id_e{event.pk}-void"' in response.content.decode()
    plug = Plug.objects.first()
    signed_in.post(address(session), correction(session, frags=7, void=[plug.pk]))
    plug.refresh_from_db()
    assert plug.fate == "void"


def test_a_forgotten_mother_is_added_with_its_lines_usual_frag_size(signed_in, session):
    forgotten = ColonyFactory(tag="M099", lineage__frag_size_mm=Decimal(18))
    data = correction(session) | {"new-tag": "M099", "new-frags": "3", "new-measure": "diameter_mm"}
    signed_in.post(address(session), data)
    event = session.cut_events.get(mother=forgotten)
    assert (event.frags, event.frag_size_mm) == (3, 18)


def test_a_mother_is_taken_out(signed_in, session):
    signed_in.post(address(session), correction(session, frags=0))
    words = words_of(signed_in.get(reverse("session", args=[session.pk])))
    assert "Every mother was taken out" in words
    assert "taken out (8 frags)" in words


def test_the_list_of_sessions_costs_the_same_however_long(signed_in, django_assert_max_num_queries, now):
    assert "No session yet" in words_of(signed_in.get("/sessions/"))
    CutEventFactory.create_batch(3)
    with django_assert_max_num_queries(10) as few:
        signed_in.get("/sessions/")
    CutEventFactory.create_batch(30)
    with django_assert_max_num_queries(len(few.captured_queries)):
        page = signed_in.get("/sessions/")
    assert "Earlier" in words_of(page)


def test_the_session_page_costs_the_same_however_many_plugs(signed_in, django_assert_max_num_queries, now):
    def make(count):
        cuts = [MotherCut(mother, 10) for mother in ColonyFactory.create_batch(count)]
        return record_cutting(cuts=cuts, cut_on=now, today=now)

    one, many = make(1), make(6)
    with django_assert_max_num_queries(12) as few:
        signed_in.get(reverse("session", args=[one.pk]))
    with django_assert_max_num_queries(len(few.captured_queries)):
        signed_in.get(reverse("session", args=[many.pk]))


def test_a_session_that_is_not_there_is_not_found(signed_in):
    assert signed_in.get("/sessions/999/").status_code == 404
    assert signed_in.get("/sessions/999/correct/").status_code == 404


@pytest.mark.parametrize("path", ["/cut/", "/cut/mothers/", "/sessions/", "/sessions/from-file/", "/sessions/1/"])
def test_strangers_are_asked_to_sign_in(client, path):
    assert client.get(path).status_code == 302


# From a file ----------------------------------------------------------------------------------------------------------


def upload(client, text):
    file = SimpleUploadedFile("sitting.csv", text.encode("cp1252"), content_type="text/csv")
    return client.post("/sessions/from-file/", {"file": file, "cut_on": str(localdate())})


def test_a_file_is_shown_in_the_form_before_anything_is_saved(signed_in, mother):
    response = upload(signed_in, "mother;frags;size_mm;note\nM012;7;20,5;größer")
    page = response.content.decode()
    assert response.status_code == 200
    assert f'id="mother-{mother.pk}" checked' in page
    assert 'value="7"' in page
    assert 'value="20.5"' in page
    assert 'value="größer"' in page
    assert not CuttingSession.objects.exists()


def test_what_is_wrong_in_a_file_is_shown_by_row_and_column(signed_in, mother):
    response = upload(signed_in, "mother;frags\nM012;0\nM0l2;4")
    assert response.status_code == 422
    assert "Row 3, mother: There is no colony with the tag “M0l2”" in words_of(response)
    response = upload(signed_in, "mother;frags\nM012;0")
    assert "Row 2, frags: 0 frags from M012" in words_of(response)


def test_a_file_with_a_resting_mother_asks_for_the_reason_in_the_form(signed_in, mother, now):
    CutEventFactory(mother=mother, session__cut_on=now - timedelta(days=3))
    response = upload(signed_in, "mother;frags\nM012;4")
    assert response.status_code == 200
    assert f'id="id_m{mother.pk}-reason"' in response.content.decode()


def test_without_a_file_the_page_says_to_choose_one(signed_in):
    response = signed_in.post("/sessions/from-file/", {"cut_on": str(localdate())})
    assert "Choose a file" in words_of(response)


def tools():
    return list(CutEvent.objects.order_by("id").values_list("cut_with", flat=True))


def checked_tool(response):
    page = response.content.decode()
    return [
        re.search(r'value="(\w*)"', radio).group(1)
        for radio in re.findall(r'<input type="radio" name="cut_with"[^>]*>', page)
        if "checked" in radio
    ]


def test_a_sitting_has_one_tool_and_a_mother_may_differ(signed_in, mother):
    saw, unsaid = ColonyFactory(), ColonyFactory()
    cuts = (mother, {"cut_with": ""}), (saw, {"cut_with": "band_saw"}), (unsaid, {"cut_with": "none"})
    response = signed_in.post(CUT, entry(*cuts, cut_with="bone_cutters"))
    assert tools() == ["bone_cutters", "band_saw", ""]
    words = words_of(signed_in.get(response.url))
    assert "Cut with Bone cutters" in words
    assert "Cut with Band saw" in words
    assert words.count("Cut with") == 2


def test_a_form_without_a_tool_notes_none(signed_in, mother):
    signed_in.post(CUT, entry((mother, {})))
    assert tools() == [""]


def test_the_tool_of_the_last_sitting_is_offered_at_the_next(signed_in, mother):
    assert checked_tool(signed_in.get(CUT)) == [""]
    signed_in.post(CUT, entry((mother, {}), cut_with="blade"))
    assert checked_tool(signed_in.get(CUT)) == ["blade"]


def test_an_unknown_tool_is_refused_and_nothing_is_lost(signed_in, mother):
    response = signed_in.post(CUT, entry((mother, {"frags": 7, "cut_with": "laser"}), cut_with="axe"))
    assert response.status_code == 422
    assert not CuttingSession.objects.exists()
    assert 'value="7"' in response.content.decode()
    assert "Cut with: “axe” is none of these. Choose one of them." in words_of(response)


def test_what_a_file_says_of_tools_is_not_mixed_with_the_last_sitting(signed_in, mother):
    signed_in.post(CUT, entry((ColonyFactory(), {}), cut_with="blade"))
    file = SimpleUploadedFile("s.csv", b"mother,frags,cut_with\nM012,4,band saw\n")
    response = signed_in.post(reverse("session_from_file"), {"file": file, "cut_on": str(localdate())})
    assert checked_tool(response) == [""]
    page = response.content.decode()
    select = page[page.index(f'name="m{mother.pk}-cut_with"') :].split("</select>")[0]
    assert re.findall(r'<option value="(\w*)" selected', select) == ["band_saw"]


def test_the_tool_is_corrected_on_the_page_of_correction(signed_in, mother, now):
    session = record_cutting(cuts=[MotherCut(mother, 3, cut_with="blade")], cut_on=now, today=now)
    address, event = reverse("session_correct", args=[session.pk]), session.cut_events.get()
    page = signed_in.get(address).content.decode()
    select = page[page.index(f'name="e{event.pk}-cut_with"') :].split("</select>")[0]
    assert re.findall(r'<option value="(\w*)" selected', select) == ["blade"]
    data = {"cut_on": str(now), "note": "", "version": 1}
    row = {"tag": "M012", "frags": 3, "measure": "diameter_mm", "cut_with": "band_saw"}
    response = signed_in.post(address, data | {f"e{event.pk}-{name}": value for name, value in row.items()})
    assert tools() == ["band_saw"]
    assert "M012 cut with blade or scalpel → band saw" in words_of(signed_in.get(response.url))


def test_a_plug_tells_what_it_was_cut_with(signed_in, mother, now):
    record_cutting(cuts=[MotherCut(mother, 1, cut_with="snapped")], cut_on=now, today=now)
    page = signed_in.get(reverse("plug", args=[Plug.objects.get().code]))
    assert "Cut with Snapped by hand" in words_of(page)

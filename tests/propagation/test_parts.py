"""The parts that pages are put together from."""

import re
from datetime import date
from decimal import Decimal
from pathlib import Path

import django_tables2 as tables
import pytest
from django import forms
from django.contrib.staticfiles import finders
from django.template import Context, Template
from django.template.loader import render_to_string

from propagation.models import Preferences
from propagation.templatetags import ramet

PROPAGATION = Path(ramet.__file__).resolve().parent.parent
PARTS = sorted((PROPAGATION / "templates").rglob("*.html"))
SPRITE = set(re.findall(r'<symbol id="([^"]+)"', Path(finders.find("propagation/icons.svg")).read_text("utf-8")))


def drawn(source, **context):
    return Template("{% load ramet %}" + source).render(Context(context))


def test_a_code_is_written_in_two_halves():
    assert ramet.in_clear("K7M42QXP") == "K7M4-2QXP"
    assert re.sub("<[^>]+>", "", drawn("{% code 'K7M42QXP' '/plugs/K7M42QXP/' %}")) == "K7M4-2QXP"


def test_a_length_is_shown_in_millimetres_unless_the_keeper_thinks_in_inches():
    assert drawn("{% length mm %}", mm=Decimal("25.0")) == "25\u00a0mm"
    inches = Preferences(length_unit="inch")
    assert drawn("{% length mm %}", mm=Decimal("25.4"), preferences=inches) == "1\u00a0in"
    assert drawn("{% length mm %}", mm=None) == "–"


@pytest.mark.parametrize(
    ("value", "measure", "shown", "in_inches"),
    [
        (Decimal("142"), "diameter_mm", "142\u00a0mm", "5.59\u00a0in"),
        (Decimal("38.50"), "tle_cm", "38.5\u00a0cm", "15.16\u00a0in"),
        (Decimal("12.9032"), "area_cm2", "12.9\u00a0cm²", "2\u00a0in²"),
        (Decimal("1"), "polyps", "1\u00a0polyp", "1\u00a0polyp"),
        (Decimal("7.25"), "weight_g", "7.3\u00a0g", "7.3\u00a0g"),
    ],
)
def test_a_size_carries_its_unit(value, measure, shown, in_inches):
    context = {"value": value, "measure": measure}
    assert drawn("{% size value measure %}", **context) == shown
    assert drawn("{% size value measure %}", **context, preferences=Preferences(length_unit="inch")) == in_inches


@pytest.mark.parametrize(
    ("number", "words"), [(0, "no frags"), (1, "1 frag"), (8, "8 frags"), (12_000, "12\u202f000 frags")]
)
def test_numbers_agree_with_their_noun(number, words):
    assert ramet.count(number, "frag") == words


@pytest.mark.parametrize(("days", "words"), [(0, "today"), (1, "tomorrow"), (-1, "yesterday"), (9, "in 9 days")])
def test_a_day_is_told_from_today(days, words, today):
    assert ramet.from_day(date.fromordinal(today.toordinal() + days), today) == words


def test_every_icon_a_template_names_is_in_the_sprite():
    named = {name for part in PARTS for name in re.findall(r'{% icon "([a-z-]+)"', part.read_text("utf-8"))}
    named |= {icon for _, entries in ramet.NAVIGATION for _, _, icon in entries}
    assert named - SPRITE == set()


@pytest.mark.parametrize("part", PARTS, ids=lambda part: part.stem)
def test_no_template_writes_style_or_script_into_the_page(part):
    text = part.read_text("utf-8")
    assert not re.search(r"\sstyle=|<style|\son(click|change|input|submit|load|error)=|javascript:", text)
    assert not re.search(r"<script(?![^>]*\ssrc=)", text)


class Frags(forms.Form):
    frags = forms.IntegerField(min_value=1, help_text="As many as the mother bears.")
    shape = forms.ChoiceField(choices=[("a", "Branching"), ("b", "Plating")], widget=forms.RadioSelect)


def test_a_refused_field_says_what_is_wrong_and_keeps_what_was_typed():
    form = Frags({"frags": "-2", "shape": "a"})
    html = drawn("{% field form.frags stepper=True %}", form=form)
    assert 'value="-2"' in html
    assert 'aria-invalid="true"' in html
    described = re.search(r'aria-describedby="([^"]+)"', html).group(1).split()
    assert described == ["id_frags_helptext", "id_frags_error"]
    for each in described:
        assert f'id="{each}"' in html


def test_the_list_of_errors_leads_to_each_field():
    form = Frags({})
    html = render_to_string("propagation/parts/form_fields.html", {"form": form})
    for target in re.findall(r'href="#([^"]+)"', html):
        assert f'id="{target}"' in html
    assert html.count('href="#') == 2


def test_a_rack_tells_place_code_and_stage_in_words():
    rows = [{"label": "A", "cells": [{"code": "K7M42QXP", "value": 7, "stage": "sealed", "due": True}, None]}]
    html = render_to_string("propagation/parts/rack.html", {"label": "Rack A", "columns": [1, 2], "rows": rows})
    assert 'type="checkbox" name="plugs" value="7"' in html
    assert 'aria-label="sealed"' in html
    words = re.sub("<[^>]+>", "", html)
    assert "K7M4-2QXP" in words
    assert 'aria-label="check is due"' in html
    assert "free" in words


class Plugs(tables.Table):
    code = tables.Column()
    size = tables.Column(verbose_name="Size (mm)")
    note = tables.Column(orderable=False)


ROWS = [{"code": f"C{at}", "size": at, "note": ""} for at in range(9)]


def test_a_table_says_how_it_is_sorted_and_names_each_cell_for_the_phone(rf, today):
    table = Plugs(ROWS, order_by="-size")
    html = table.as_html(rf.get("/ready/"))
    assert html.count('aria-sort="descending"') == 1
    assert 'data-label="Size (mm)"' in html
    assert "sort=size" in html
    assert "sort=note" not in html


def test_pages_keep_the_filters_and_need_no_count(rf):
    table = Plugs(ROWS, order_by="code")
    table.paginate(page=2, per_page=3, paginator_class=tables.LazyPaginator)
    html = table.as_html(rf.get("/ready/", {"lineage": "4", "page": "2"}))
    assert "?lineage=4&amp;page=1" in html
    assert "?lineage=4&amp;page=3" in html


def test_an_empty_table_says_so_in_a_sentence(rf):
    html = Plugs([], empty_text="No plug is ready yet.").as_html(rf.get("/ready/"))
    assert "No plug is ready yet." in html
    assert "<table" not in html


@pytest.mark.parametrize("name", ["404", "403", "403_csrf", "429", "500"])
def test_an_error_page_is_drawn_without_a_database_or_a_session(name):
    html = render_to_string(f"{name}.html")
    assert html.count("<h1>") == 1
    assert "Ramet" in html


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_the_chosen_look_is_in_the_page_from_the_start(rf, theme):
    request = rf.get("/")
    request.COOKIES["theme"] = theme
    assert f'data-theme="{theme}"' in render_to_string("404.html", request=request)


def test_a_made_up_look_is_ignored(rf):
    request = rf.get("/")
    request.COOKIES["theme"] = '"><script>'
    assert "data-theme=" not in render_to_string("404.html", request=request)

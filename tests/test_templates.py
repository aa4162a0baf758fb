"""What no single page shows: how templates include each other."""

import re
from pathlib import Path

import pytest
from django.conf import settings

INCLUDED = re.compile(r"{%-?\s*include\s+\"([^\"]+)\"(.*?)%}", re.DOTALL)
COMMENT = re.compile(r"{% comment %}.*?{% endcomment %}", re.DOTALL)
TEMPLATES = {
    path.relative_to(folder).as_posix(): COMMENT.sub("", path.read_text())
    for app in ("propagation", "inventory", "labels")
    for folder in [Path(settings.BASE_DIR) / app / "templates"]
    for path in folder.rglob("*.html")
}


def sends_a_form(name, seen=()):
    """Does a part need the token by which its form is taken, for itself or for a part of its own?"""
    text = TEMPLATES[name]
    deeper = {each for each, _ in INCLUDED.findall(text) if each in TEMPLATES} - {*seen, name}
    return "{% csrf_token %}" in text or any(sends_a_form(each, (*seen, name)) for each in deeper)


def test_there_are_parts_with_forms():
    assert sum(map(sends_a_form, TEMPLATES)) > 20


@pytest.mark.parametrize("name", sorted(TEMPLATES))
def test_a_part_with_a_form_gets_the_token_that_lets_it_through(name):
    """`only` keeps everything else from a part, this token too: what its form sends would be refused with 403."""
    forgotten = [
        part
        for part, told in INCLUDED.findall(TEMPLATES[name])
        if part in TEMPLATES and re.search(r"\bonly\s*$", told) and "csrf_token=" not in told and sends_a_form(part)
    ]
    assert forgotten == []

"""The stylesheet keeps its promises: legible in light and dark, the same dark by hand and by device."""

import re
from itertools import product
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders

CSS = Path(finders.find("propagation/ramet.css")).read_text(encoding="utf-8")


def colours_of(selector):
    """The colours that the first block of a selector gives to its names."""
    block = re.search(re.escape(selector) + r"\s*\{(.*?)\}", CSS, re.DOTALL).group(1)
    return dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", block))


LIGHT = colours_of(":root")
DARK = colours_of(':root[data-theme="dark"]')


def luminance(colour):
    """Relative luminance as WCAG 2.2 defines it."""
    channels = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    """Contrast ratio as WCAG 2.2 defines it."""
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


WRITTEN = [
    *product(["ink", "ink-soft", "link"], ["paper", "sheet", "sunk"]),
    *product(["ink", "bad", "warn", "good"], ["bad-tint", "warn-tint", "good-tint"]),
    *((stage, f"{stage}-tint") for stage in ("fresh", "sealed", "encrusting", "healed", "gone")),
    *product(["bad", "fresh", "sealed", "encrusting", "healed", "gone"], ["sheet", "paper"]),
    *product(["cover-ink", "cover-soft", "marker"], ["cover"]),
    ("cover-ink", "cover-rule"),
    ("marker-ink", "marker"),
    ("ink", "marker-soft"),
]


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize(("text", "ground"), WRITTEN)
def test_text_stands_out_from_its_ground(theme, text, ground):
    """WCAG 2.2, 1.4.3: at least 4.5 to 1."""
    assert contrast(theme[text], theme[ground]) >= 4.5


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("ground", ["paper", "sheet"])
def test_edges_of_controls_stand_out(theme, ground):
    """WCAG 2.2, 1.4.11: at least 3 to 1."""
    assert contrast(theme["edge"], theme[ground]) >= 3


def test_dark_by_device_is_dark_by_hand():
    assert colours_of(':root:not([data-theme="light"])') == DARK


def test_both_themes_name_the_same_colours():
    assert LIGHT.keys() == DARK.keys()


def test_the_stylesheet_asks_nobody_else_for_anything():
    assert "@import" not in CSS
    assert "url(" not in CSS

"""The stylesheet keeps its promises: legible in light and dark, the same dark by hand and by device."""

import re
from itertools import product
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders

CSS = Path(finders.find("propagation/ramet.css")).read_text(encoding="utf-8")


def block_of(selector):
    """What the first block of a selector says."""
    return re.search(re.escape(selector) + r"\s*\{(.*?)\}", CSS, re.DOTALL).group(1)


def switches_of(selector):
    """Which of light and dark the block of a selector lets through."""
    return dict(re.findall(r"--if-(light|dark):\s*(.*?);", block_of(selector)))


PAIRS = re.findall(r"--([a-z-]+): var\(--if-light, (#[0-9a-f]{6})\) var\(--if-dark, (#[0-9a-f]{6})\);", CSS)
ALIKE = dict(re.findall(r"^  --([a-z-]+): (#[0-9a-f]{6});$", CSS, re.MULTILINE))
LIGHT = ALIKE | {name: light for name, light, _ in PAIRS}
DARK = ALIKE | {name: dark for name, _, dark in PAIRS}


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
    dark = switches_of(':root[data-theme="dark"]')
    assert dark == {"light": "", "dark": "initial"}
    assert switches_of(':root:not([data-theme="light"])') == dark


def test_without_a_wish_for_dark_it_is_light():
    assert switches_of(":root") == {"light": "initial", "dark": ""}


def test_paper_is_light_whatever_the_screen_was():
    assert switches_of('@media print {\n  :root,\n  :root[data-theme="dark"],\n  :root:not([data-theme="light"])') == {
        "light": "initial",
        "dark": "",
    }


def test_the_stylesheet_asks_nobody_else_for_anything():
    assert "@import" not in CSS
    assert "url(" not in CSS

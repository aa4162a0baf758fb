"""Tags that pages are put together from: icons, codes, sizes, badges, and parts that hold other markup.

Every part is a template in ``propagation/parts/`` with its usage at the top; the tags here choose what it shows.
"""

import re
from datetime import date
from decimal import ROUND_HALF_UP, Decimal

from django import template
from django.http import QueryDict
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.urls import NoReverseMatch, reverse
from django.utils.html import conditional_escape, format_html
from django.utils.safestring import mark_safe

from propagation.addresses import who_opens as who_can_open
from propagation.codes import ALPHABET, strip_code
from propagation.codes import in_clear as code_in_clear
from propagation.lengths import MM_IN_AN_INCH
from propagation.lengths import plain as plain_number
from propagation.models.terms import Fate, HealingStage, IdentityCertainty, Measure

register = template.Library()

CODE_IN_WORDS = re.compile(rf"\b[{ALPHABET}]{{4}}-[{ALPHABET}]{{4}}\b")


# What each navigation entry is called: URL name, word, icon. Names without an address yet are left out.
NAVIGATION = [
    (
        "Bench",
        [
            ("today", "Today", "today"),
            ("cut", "Cut", "cut"),
            ("labels", "Labels", "labels"),
            ("rack", "Racks", "rack"),
            ("ready", "Ready", "ready"),
            ("offers", "Availability", "plug"),
            ("sales", "Sales", "money"),
            ("market", "Market table", "stage-sold"),
            ("trace", "Trace", "trace"),
        ],
    ),
    (
        "Growth",
        [
            ("next_cuts", "Next cuts", "calendar"),
            ("orders", "Frags wanted", "plug"),
            ("healing", "Healing", "stage-healed"),
            ("yield_record", "Yield record", "sessions"),
            ("forecasts", "How right", "ruler"),
        ],
    ),
    (
        "Records",
        [
            ("sessions", "Sessions", "sessions"),
            ("colonies", "Colonies", "colonies"),
            ("photos", "Photos", "photo"),
            ("lineages", "Lineages", "lineages"),
            ("systems", "Systems", "systems"),
            ("water", "Water", "water"),
            ("absences", "Absences", "clock"),
            ("calendar", "Calendar", "calendar"),
            ("acquire", "Bring in", "acquired"),
            ("trades", "Trades", "trade"),
            ("safekeeping", "Safekeeping", "insurance"),
            ("claims", "Claims", "warning"),
            ("incidents", "Incidents", "incident"),
            ("contacts", "Contacts", "contacts"),
            ("books", "Books", "money"),
        ],
    ),
]
BOTTOM_BAR = ["today", "cut", "labels", "ready", "trace"]

FATE_ICON = {
    Fate.DEAD: "stage-dead",
    Fate.VOID: "stage-void",
    Fate.GROWN_ON: "grown-on",
}


# Pictures and words -------------------------------------------------------------------------------------------------


@register.simple_tag
def icon(name, size=20, label=""):
    """Draw an icon of the sprite; without a label it is hidden from screen readers."""
    hidden = format_html('role="img" aria-label="{}"', label) if label else mark_safe('aria-hidden="true"')
    return format_html(
        '<svg class="icon" width="{0}" height="{0}" {1} focusable="false"><use href="{2}#{3}"></use></svg>',
        size,
        hidden,
        static("propagation/icons.svg"),
        name,
    )


@register.filter
def in_clear(code):
    """``K7M42QXP`` as it is printed: ``K7M4-2QXP``."""
    return code_in_clear(strip_code(str(code)))


def _code_halves(code):
    first, second = code_in_clear(strip_code(str(code))).split("-", 1)
    return format_html('{}<span class="dash">-</span>{}', first, second)


@register.simple_tag
def code(text, url="", chip=True):
    """A plug code, large and unmistakable; with an address it is a link, without ``chip`` bare text."""
    halves = _code_halves(text)
    if url:
        return format_html('<a class="code code-chip" href="{}">{}</a>', url, halves)
    return format_html('<span class="{}">{}</span>', "code code-chip" if chip else "code", halves)


@register.simple_tag
def code_hero(text):
    """A code as large as the page bears: the heading of a plug's page."""
    return format_html('<span class="code code-hero">{}</span>', _code_halves(text))


@register.filter
def last_half(code):
    """The half of a code that tells neighbours apart in a rack: ``2QXP``."""
    return strip_code(str(code))[4:]


@register.filter(needs_autoescape=True)
def whole_codes(text, autoescape=True):
    """Words in which no code is broken at its dash where a line ends."""
    text = conditional_escape(text) if autoescape else text
    return mark_safe(CODE_IN_WORDS.sub(r'<span class="one-line">\g<0></span>', text))  # noqa: S308 - escaped above


@register.filter
def plain(number):
    """A decimal without zeros at its end: ``8.250`` is ``8.25``."""
    return plain_number(Decimal(number))


@register.simple_tag
def count(number, one, many=""):
    """``1 frag``, ``8 frags``, ``no frags``; ``many`` where the plural is not made with an s."""
    if number == 1:
        return f"1 {one}"
    figure_words = f"{number:,}".replace(",", "\u202f") if number else "no"
    return f"{figure_words} {many or one + 's'}"


# Lengths and sizes --------------------------------------------------------------------------------------------------


def _shown(number, places):
    """A decimal with at most so many places and no trailing zeros."""
    rounded = Decimal(number).quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP)
    text = f"{rounded:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _in_inches(context):
    preferences = context.get("preferences")
    return bool(preferences) and preferences.length_unit == "inch"


@register.simple_tag(takes_context=True)
def length(context, mm):
    """A length kept in millimetres, in the keeper's unit: ``25 mm`` or ``0.98 in``; a dash where there is none."""
    if mm is None or mm == "":
        return "–"
    if _in_inches(context):
        return f"{_shown(Decimal(str(mm)) / MM_IN_AN_INCH, 2)}\u00a0in"
    return f"{_shown(Decimal(str(mm)), 1)}\u00a0mm"


@register.simple_tag(takes_context=True)
def size(context, value, measure):
    """A size reading in the keeper's unit: ``142 mm``, ``38.5 cm``, ``5.6 in``, ``12 polyps``."""
    if value is None or value == "":
        return "–"
    value = Decimal(str(value))
    measure = Measure(measure)
    unit = measure.unit
    if _in_inches(context) and unit in ("mm", "cm", "cm²"):
        mm_in_unit = {"mm": Decimal(1), "cm": Decimal(10), "cm²": Decimal(100)}[unit]
        per_inch = MM_IN_AN_INCH if unit != "cm²" else MM_IN_AN_INCH**2
        return f"{_shown(value * mm_in_unit / per_inch, 2)}\u00a0{'in²' if unit == 'cm²' else 'in'}"
    if measure == Measure.POLYPS and value == 1:
        unit = "polyp"
    return f"{_shown(value, 1)}\u00a0{unit}"


@register.filter
def kept_day(text):
    """The day that a kept forecast holds as text: ``"2026-07-27"|kept_day|date:"j M Y"``."""
    return date.fromisoformat(text)


@register.filter
def from_day(day, today):
    """How far a day lies from today in words: ``today``, ``in 3 days``, ``in 5 weeks``, ``5 days ago``."""
    if not day or not today:
        return ""
    days = (day - today).days
    near = {0: "today", 1: "tomorrow", -1: "yesterday"}
    if days in near:
        return near[days]
    if days > 60:
        return f"in {round(days / 30.4)} months"
    if days > 21:
        return f"in {round(days / 7)} weeks"
    return f"in {days} days" if days > 0 else f"{-days} days ago"


# Badges -------------------------------------------------------------------------------------------------------------


@register.simple_tag
def stage_badge(stage):
    """The healing stage of a plug, as shape, colour and word. Takes a stage, ``dead`` or ``void``."""
    value = str(getattr(stage, "value", stage))
    words = dict(HealingStage.choices) | dict(Fate.choices)
    return format_html(
        '<span class="badge stage stage-{}">{}{}</span>', value, icon(f"stage-{value}", 16), words.get(value, value)
    )


@register.simple_tag
def plug_badge(plug):
    """What a plug is now: its stage while it is kept, else what became of it."""
    if plug.fate == Fate.KEPT:
        return stage_badge(plug.stage)
    return format_html(
        '<span class="badge stage stage-{}">{}{}</span>',
        plug.fate if plug.fate in (Fate.DEAD, Fate.VOID) else "gone",
        icon(FATE_ICON.get(plug.fate, "stage-sold"), 16),
        plug.get_fate_display(),
    )


@register.simple_tag
def identity_badge(certainty):
    """How sure the identity of a line is, as bars and a word."""
    value = str(getattr(certainty, "value", certainty))
    words = {
        IdentityCertainty.CERTAIN: "Identity certain",
        IdentityCertainty.LIKELY: "Identity likely",
        IdentityCertainty.DOUBTFUL: "Identity doubtful",
        IdentityCertainty.UNKNOWN: "Identity unknown",
    }
    return format_html(
        '<span class="badge identity identity-{}">{}{}</span>',
        value,
        icon(f"identity-{value}", 16),
        words.get(value, value),
    )


# Parts that hold other markup ---------------------------------------------------------------------------------------


@register.simple_block_tag
def card(content, heading="", url="", icon_name="", level=2, css=""):
    """``{% card heading="Growth" %} … {% endcard %}``: a sheet with a heading."""
    return render_to_string(
        "propagation/parts/card.html",
        {"content": content, "heading": heading, "url": url, "icon_name": icon_name, "level": level, "css": css},
    )


@register.inclusion_tag("propagation/parts/who_opens.html")
def who_opens(address):
    """``{% who_opens address %}``: a warning where an address that is to be sent or scanned reaches nobody else."""
    return {"words": who_can_open(address).value}


@register.simple_block_tag
def confirm(content, words, danger=False, icon_name="", is_open=False):
    """``{% confirm "Mark as dead" danger=True %} form {% endconfirm %}``: a second tap before it happens, no script."""
    return render_to_string(
        "propagation/parts/confirm.html",
        {"content": content, "words": words, "danger": danger, "icon_name": icon_name, "is_open": is_open},
    )


@register.simple_block_tag
def more_acts(content, words="More"):
    """``{% more_acts %} buttons {% endmore_acts %}``: shut on a phone, open on a wide page."""
    return render_to_string("propagation/parts/more_acts.html", {"content": content, "words": words})


@register.simple_block_tag
def cautions(content, key="bench", words="Before you cut"):
    """``{% cautions %} <li>…</li> {% endcautions %}``: short cautions, open until read once on this device."""
    return render_to_string("propagation/parts/cautions.html", {"content": content, "key": key, "words": words})


@register.simple_block_tag
def notice(content, kind="info", heading=""):
    """``{% notice "warning" heading="Resting until 3 May" %} … {% endnotice %}``."""
    return render_to_string("propagation/parts/notice.html", {"content": content, "kind": kind, "heading": heading})


@register.simple_block_tag
def filter_panel(content, words="Filter", in_use=0):
    """``{% filter_panel in_use=2 %} form {% endfilter_panel %}``: shut on a phone, open on a wide page."""
    return render_to_string(
        "propagation/parts/filter_panel.html", {"content": content, "words": words, "in_use": in_use}
    )


@register.simple_block_tag
def figure(content, caption, fits=False, headings=None, rows=None):
    """``{% figure "Growth of M12" headings=… rows=… %} <svg…> {% endfigure %}``: a picture, its caption, its table."""
    return render_to_string(
        "propagation/parts/figure.html",
        {"content": content, "caption": caption, "fits": fits, "headings": headings, "rows": rows},
    )


# Forms --------------------------------------------------------------------------------------------------------------

CHOICE_WIDGETS = {"radioselect": "radio", "checkboxselectmultiple": "checkbox"}


@register.simple_tag
def field(bound, presets="", stepper=False, unit="", bare=False, placeholder=""):
    """One field of a form with its label, help and error.

    ``stepper`` puts − and + beside a number, ``presets`` ("4 6 8 10 12") adds buttons that set it, ``unit`` is written
    after it, ``bare`` hides the label from sight (it stays for screen readers).
    """
    if bound.is_hidden:
        return bound.as_widget()
    kind = bound.widget_type
    attrs = {}
    if placeholder:
        attrs["placeholder"] = placeholder
    if kind == "number":
        step = bound.field.widget.attrs.get("step", 1)
        attrs["inputmode"] = "numeric" if str(step) == "1" else "decimal"
    choices = []
    if kind in CHOICE_WIDGETS:
        choices = list(bound)
    return render_to_string(
        "propagation/parts/field.html",
        {
            "field": bound,
            "kind": kind,
            "control": "" if choices else bound.as_widget(attrs=attrs),
            "choices": choices,
            "presets": str(presets).split(),
            "stepper": stepper,
            "unit": unit,
            "bare": bare,
        },
    )


# The shell ----------------------------------------------------------------------------------------------------------


@register.simple_tag(takes_context=True)
def theme_attribute(context):
    """The keeper's choice of light or dark, from its cookie, so the page comes out right before any script runs."""
    request = context.get("request")
    chosen = request.COOKIES.get("theme") if request else None
    return format_html('data-theme="{}"', chosen) if chosen in ("light", "dark") else ""


def _entries(path):
    """All navigation entries that have an address, the one that holds this path marked as current."""
    groups = []
    for heading, names in NAVIGATION:
        entries = []
        for name, words, icon_name in names:
            try:
                url = reverse(name)
            except NoReverseMatch:
                continue
            entries.append({"name": name, "words": words, "icon": icon_name, "url": url, "current": ""})
        if entries:
            groups.append({"heading": heading, "entries": entries})
    every = [entry for group in groups for entry in group["entries"]]
    # The longest address that the path begins with; the front page holds only itself.
    holding = [e for e in every if path == e["url"] or (e["url"] != "/" and path.startswith(e["url"]))]
    if holding:
        nearest = max(holding, key=lambda entry: len(entry["url"]))
        nearest["current"] = "page" if path == nearest["url"] else "true"
    return groups


@register.simple_tag(takes_context=True)
def navigation(context):
    """Groups of entries: ``[{"heading", "entries": [{"name", "words", "icon", "url", "current"}]}]``."""
    request = context.get("request")
    return _entries(request.path if request else "")


@register.filter
def for_bottom_bar(groups):
    """The five entries within the thumb's reach, in their order."""
    by_name = {entry["name"]: entry for group in groups for entry in group["entries"]}
    return [by_name[name] for name in BOTTOM_BAR if name in by_name]


@register.simple_tag(takes_context=True)
def page_query(context, name, number):
    """The address of another page of the same list: the query as it stands with one value changed."""
    request = context.get("request")
    query = request.GET.copy() if request else QueryDict(mutable=True)
    query[name] = number
    return f"?{query.urlencode()}"

"""What is known of somebody who asks to be forgotten: where it stands, and what is still open with them."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from functools import cached_property

from django.apps import apps
from django.db import models
from django.db.models import Q
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.text import capfirst

from inventory.models import Claim, ClaimPicture, Contact, Credit, Hold, Payment, Safekeeping, Sale, Trade, Waiting
from inventory.money import write_amount
from inventory.readings.holds import deposits_left_over
from inventory.readings.sales import credits_of

# Notes on what was between the keeper and a contact: they go as a whole, for they may say anything about them.
OWN_NOTES = (
    (Hold, ("note",), "contact"),
    (Waiting, ("note",), "contact"),
    (Sale, ("note",), "contact"),
    (Payment, ("note",), "sale__contact"),
    (Credit, ("note",), "contact"),
    (Trade, ("note",), "contact"),
    (Safekeeping, ("note",), "contact"),
    (Claim, ("words", "note"), "line__sale__contact"),
)
# What the keeper calls their own things, and what they tell the public: theirs to change, so it is only pointed at.
NAMES_OF_THINGS = {
    "propagation.Lineage": ("name", "sold_as"),
    "propagation.System": ("name",),
    "propagation.Spot": ("name",),
    "propagation.Colony": ("tag",),
    "inventory.OfferPack": ("name",),
    "inventory.Availability": ("headline", "wishes"),
    "labels.LabelStock": ("name",),
}
# Texts that say nothing of people: names of species and of files, addresses, currencies, what stands on a label.
SAY_NOTHING = {
    "propagation.Lineage": ("genus", "species"),
    "propagation.Photo": ("name", "suffix", "trouble"),
    "propagation.Preferences": (
        "display_name",
        "base_address",
        *("paper_name", "postal_address", "paper_reach", "tax_number", "receipt_closing"),  # of the keeper
    ),
    "inventory.Book": ("currency",),
    "inventory.AcquisitionTerms": ("currency",),
    "inventory.Hold": ("deposit_currency",),
    "inventory.Sale": ("currency",),
    "inventory.Credit": ("currency",),
    "inventory.Trade": ("currency",),
    "inventory.Contact": ("name", "reach"),  # of others; those of the contact go anyway
    "inventory.Availability": ("reach",),
    "labels.PrintRun": ("base_address",),
    "labels.PrintedLabel": ("lineage_name", "mother_tag"),
}
FLOORS = ("propagation", "inventory", "labels")
# Sentences that were written for the keeper and name people, wherever they stand.
ALWAYS = {"inventory.Hold.note", "propagation.Pack.name", "labels.KnownKey.name"}
# Tables of other makers that keep what was typed or went wrong.
OF_OTHERS = {
    "axes.AccessAttempt": ("path_info", "get_data", "post_data"),
    "axes.AccessFailureLog": ("path_info",),
    "axes.AccessLog": ("path_info",),
    "django_tasks_database.DBTaskResult": ("traceback",),
}
OF_A_SALE = re.compile(r"\b(Promised|Sold) to (?:(?!(?:Promised|Sold|Traded) to ).)+? in sale (\d+)\b")
OF_A_TRADE = re.compile(r"\bTraded to (?:(?!(?:Promised|Sold|Traded) to ).)+? in trade (\d+)\b")
OF_A_PACK = re.compile(r"\bTrade (\d+) with .+")
CUT_SHORT = re.compile(r"\b(Promised|Sold|Traded|Given away) to ([^.]{3,}?)(?=\. |$)")
TO_NOBODY_NAMED = {"them", "somebody else"}
ELLIPSIS = "…"
SHORTEST_WAY = 4  # characters; a shorter one says nothing by itself, and stands in many a note
AROUND = 40  # characters shown around a name
MOST_SHOWN = 30


@dataclass(frozen=True)
class Text:
    """A column of free text, of a record or of its history."""

    model: type[models.Model]
    field: models.Field
    is_always: bool  # written for the keeper, or a trace: the keeper is not asked about it

    @property
    def is_history(self) -> bool:
        return hasattr(self.model, "instance_type")


def texts() -> Iterator[Text]:
    """Every column in which a name may stand, in every table.

    Left out is what has set choices, what is unique like a code or a secret, and what was not typed or is signed.
    """
    for model in apps.get_models():
        label = model._meta.label
        if label in OF_OTHERS:
            yield from (Text(model, model._meta.get_field(name), True) for name in OF_OTHERS[label])
        if model._meta.app_label not in FLOORS:
            continue
        base = getattr(model, "instance_type", model)
        spared = {*NAMES_OF_THINGS.get(base._meta.label, ()), *SAY_NOTHING.get(base._meta.label, ())}
        for field in model._meta.concrete_fields:
            if not isinstance(field, models.CharField | models.TextField) or field.choices or field.name in spared:
                continue
            if field.name == "history_change_reason":
                yield Text(model, field, True)
            elif not field.name.startswith("history_"):
                kept = base._meta.get_field(field.name)
                if kept.editable and not kept.unique:
                    yield Text(model, field, f"{base._meta.label}.{field.name}" in ALWAYS)


@dataclass(frozen=True)
class Traces:
    """What somebody was ever called and how they were reached, as it is looked for in what was written.

    ``spared`` are longer names of others in which one of theirs stands; ``sales`` and ``trades`` are the numbers of
    theirs, for sentences that name those.
    """

    names: tuple[str, ...]
    ways: tuple[str, ...]
    spared: tuple[str, ...]
    sales: frozenset[int]
    trades: frozenset[int]
    instead: str

    @cached_property
    def _pattern(self):
        groups = [("spared", self.spared), ("name", self.names), ("way", self.ways)]
        found = [f"(?P<{group}>{'|'.join(map(_as_words, words))})" for group, words in groups if words]
        return re.compile(rf"(?<!\w)(?:{'|'.join(found)})(?!\w)", re.IGNORECASE) if found else None

    def _instead_of(self, match) -> str:
        if match.lastgroup == "spared":
            return match[0]
        return self.instead if match.lastgroup == "name" else ELLIPSIS

    def find(self, text: str):
        """The first place in a text where they are named, or None."""
        places = self._pattern.finditer(text) if self._pattern else ()
        return next((place for place in places if place.lastgroup != "spared"), None)

    def strike(self, text: str, most: int | None = None) -> str:
        """The text without them. Where what stands instead makes it longer than ``most``, less is said."""
        if not text:
            return text
        told = OF_A_SALE.sub(lambda m: self._sentence(m, m[1], "sale", m[2], self.sales), text)
        told = OF_A_TRADE.sub(lambda m: self._sentence(m, "Traded", "trade", m[1], self.trades), told)
        told = OF_A_PACK.sub(lambda m: f"Trade {m[1]} with {self.instead}" if int(m[1]) in self.trades else m[0], told)
        told = CUT_SHORT.sub(self._cut_short, told)
        told = self._pattern.sub(self._instead_of, told) if self._pattern else told
        return told if most is None or len(told) <= most else told.replace(self.instead, ELLIPSIS)[:most]

    def _sentence(self, match, verb, what, number, theirs) -> str:
        return f"{verb} to {self.instead} in {what} {number}" if int(number) in theirs else match[0]

    def _cut_short(self, match) -> str:
        begun = match[2].strip().casefold()
        if begun in TO_NOBODY_NAMED or not any(name.casefold().startswith(begun) for name in self.names):
            return match[0]
        return f"{match[1]} to {self.instead}"

    def strike_in(self, value):
        """The same for whatever a session holds."""
        if isinstance(value, str):
            return self.strike(value)
        if isinstance(value, dict):
            return {key: self.strike_in(each) for key, each in value.items()}
        return [self.strike_in(each) for each in value] if isinstance(value, list) else value

    def rows(self, model, field: str):
        """``(id, text)`` of the rows whose text may name them."""
        wanted = Q()
        for text in (*self.names, *self.ways):
            wanted |= Q(**{f"{field}__icontains": _probe(text)})
        for words, theirs in ((" in sale ", self.sales), (" in trade ", self.trades)):
            if theirs:
                wanted |= Q(**{f"{field}__contains": words})
        if self.trades:
            wanted |= Q(**{f"{field}__startswith": "Trade "})
        if f"{getattr(model, 'instance_type', model)._meta.label}.{field}" in ALWAYS:
            wanted |= Q(**{f"{field}__contains": " to "})
        rows = model._base_manager.exclude(**{field: ""}).exclude(**{field: None}).filter(wanted)
        return rows.order_by("pk").values_list("pk", field)


def _as_words(text: str) -> str:
    return r"\s+".join(map(re.escape, text.split()))


def _probe(text: str) -> str:
    """A part of a text that every database finds in any case: SQLite knows the case of ASCII letters alone."""
    return max(re.findall(r"[!-~]+", text), key=len, default="")


def all_of(contact: Contact) -> list[Contact]:
    """A contact and those that were merged into it. One query."""
    return list(Contact.objects.filter(Q(pk=contact.pk) | Q(merged_into=contact)).order_by("pk"))


def traces_of(contact: Contact, *, instead: str) -> Traces:
    """What a contact, and whoever was merged into it, was ever called. Five queries."""
    everybody = all_of(contact)
    ids = [each.pk for each in everybody]
    told = [(each.name, each.reach) for each in everybody]
    told += Contact.history.filter(id__in=ids).order_by().values_list("name", "reach").distinct()
    others = list(Contact.objects.filter(forgotten_on=None).exclude(pk__in=ids).values_list("name", flat=True))
    theirs = {name.casefold() for name in others}
    names = {name.strip().casefold(): name.strip() for name, _ in told if name.strip().casefold() not in theirs}
    ways = {part.strip().casefold(): part.strip() for _, reach in told for part in (reach, *reach.split(";"))}
    spared = [name for name in others if any(mine in name.casefold() for mine in names)]
    return Traces(
        names=_longest_first(names.values()),
        ways=_longest_first(way for way in ways.values() if len(way) >= SHORTEST_WAY),
        spared=_longest_first(spared),
        sales=frozenset(Sale.objects.filter(contact__in=ids).values_list("pk", flat=True)),
        trades=frozenset(Trade.objects.filter(contact__in=ids).values_list("pk", flat=True)),
        instead=instead,
    )


def _longest_first(found) -> tuple[str, ...]:
    return tuple(sorted(found, key=len, reverse=True))


@dataclass(frozen=True)
class Mention:
    """Where somebody is named beside what was between them and the keeper."""

    what: str
    excerpt: str


def mentions(contact: Contact, traces: Traces) -> list[Mention]:
    """The keeper's notes on other things that name them; a query for each kind of note."""
    own = {model: path for model, _, path in OWN_NOTES}
    ids = [each.pk for each in all_of(contact)]
    found = []
    for text in texts():
        if text.is_always or text.is_history:
            continue
        rows = traces.rows(text.model, text.field.attname)
        if text.model in own:
            rows = rows.exclude(**{f"{own[text.model]}__in": ids})
        elif text.model is Contact:
            rows = rows.exclude(pk__in=ids)
        found += _in_words(text.model, rows, traces)
    return found


def named_after(traces: Traces) -> list[Mention]:
    """Things of the keeper's own that carry the name: nobody but the keeper can rename them."""
    found = []
    for label, fields in NAMES_OF_THINGS.items():
        model = apps.get_model(label)
        for field in fields:
            found += _in_words(model, traces.rows(model, field), traces)
    return found


def _in_words(model, rows, traces: Traces) -> Iterator[Mention]:
    for _, text in rows:
        if place := traces.find(text):
            before, after = max(place.start() - AROUND, 0), place.end() + AROUND
            excerpt = f"{ELLIPSIS if before else ''}{text[before:after]}{ELLIPSIS if after < len(text) else ''}"
            yield Mention(capfirst(model._meta.verbose_name), excerpt)


def own_notes(contact: Contact) -> int:
    """How many notes there are on what was between. A query for each kind."""
    ids = [each.pk for each in all_of(contact)]
    return sum(
        model.objects.filter(**{f"{path}__in": ids}).exclude(**{name: ""}).count()
        for model, names, path in OWN_NOTES
        for name in names
    )


def pictures_of(contact: Contact):
    """The pictures they sent with claims."""
    return ClaimPicture.objects.filter(claim__line__sale__contact=contact)


@dataclass(frozen=True)
class Thing:
    """Something that is open with a contact: what, and where it is brought to an end."""

    sentence: str
    url: str
    words: str


def still_open(contact: Contact, today: date) -> list[Thing]:
    """What must come to an end before somebody is forgotten, but for their places in line. Six queries."""
    here = reverse("contact", args=[contact.pk])
    holds = Hold.objects.active_on(today).filter(contact=contact).select_related("plug").order_by("until", "id")
    found = [
        Thing(
            f"Plug {hold.plug.code_in_clear} is held for them until {date_format(hold.until)}; release it or sell it.",
            here,
            "See what is held for them",
        )
        for hold in holds
    ]
    found += [
        Thing(
            f"Their deposit lies on the hold of plug {hold.plug.code_in_clear} that ended; give it back.",
            here,
            "See their deposits",
        )
        for hold in deposits_left_over(today).filter(contact=contact)
    ]
    found += [
        Thing(
            f"Sale {sale.pk} is {sale.state_words.lower()}; "
            f"{'close it' if sale.left_on else 'see it through, or call it off'}.",
            reverse("sale", args=[sale.pk]),
            f"Open sale {sale.pk}",
        )
        for sale in Sale.objects.under_way().filter(contact=contact).order_by("pk")
    ]
    found += [
        Thing(
            f"{write_amount(amount, currency)} of credit is left; pay it out, use it in a sale, or note that they give "
            "it up.",
            here,
            "See their credit",
        )
        for currency, amount in credits_of(contact).items()
        if amount
    ]
    found += [
        Thing(
            f"They keep plug {kept.plug.code_in_clear} for you; say what becomes of it.",
            reverse("safekeeping_one", args=[kept.pk]),
            "Open the safekeeping",
        )
        for kept in Safekeeping.objects.filter(contact=contact, ended_on=None).select_related("plug").order_by("pk")
    ]
    found += [
        Thing(
            f"The claim for sale {claim.line.sale_id} waits to be settled.",
            reverse("claim", args=[claim.pk]),
            "Open the claim",
        )
        for claim in Claim.objects.filter(line__sale__contact=contact, settled_on=None).select_related("line")
    ]
    return found


def waiting_of(contact: Contact):
    """The plugs they are in line for."""
    return Waiting.objects.filter(contact=contact, ended_on=None).select_related("plug__lineage").order_by("since")

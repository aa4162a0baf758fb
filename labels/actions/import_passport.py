"""Bringing in what came with a passport: the acquisition, and the passport kept with it."""

from dataclasses import replace
from datetime import date, datetime
from decimal import Decimal
from uuid import UUID

from django.db import IntegrityError, transaction

from inventory.actions.acquire_from import Deal, acquire_colony_from, acquire_plugs_from
from labels.errors import OwnPlugNeverLeft, PassportCameAlready
from labels.keeper_key import own_did
from labels.models import KnownKey
from labels.models import Passport as ImportedPassport
from labels.passports.reading import Passport, read_passport
from labels.readings.passports import earlier_import, judge
from propagation.actions.keep_lineage import keep_lineage
from propagation.dates import day_in_words
from propagation.errors import BadDate, BadValue
from propagation.models import Acquisition, GrowthForm, HealingStage, Lineage, Plug, Spot


@transaction.atomic
def import_passport(
    *,
    data: bytes,
    deal: Deal,
    today: date,
    now: datetime,
    lineage_name: str = "",
    growth_form: str = GrowthForm.BRANCHING,
    as_colony: bool = False,
    tag: str = "",
    spot: Spot | None = None,
    stage: str = HealingStage.HEALED,
    size_mm: Decimal | None = None,
    rack: Spot | None = None,
    submission: UUID | None = None,
    by=None,
) -> Acquisition:
    """A plug or a colony came with the passport in ``data``; both are taken in together or not at all.

    Without ``lineage_name`` the line keeps the name it came with. A lineage that is new here takes its species and
    origin from the passport. What leads back to a plug of the keeper's own that left is the return of that plug,
    whatever the deal says. Raises PassportRefused, PassportCameAlready, OwnPlugNeverLeft, BadDate, BadValue,
    AlreadyDone (the tag was used before).
    """
    earlier = Acquisition.objects.filter(submission=submission).first() if submission else None
    if earlier is not None:
        return earlier
    passport = read_passport(data, now=now)
    offer = judge(passport)
    if offer.imported is not None:
        raise PassportCameAlready(offer.imported)
    if offer.never_left is not None:
        raise OwnPlugNeverLeft(offer.never_left)
    returned = offer.returned_plug
    began = passport.line.itself.began
    if deal.on < began:
        raise BadDate(
            f"It came on {day_in_words(deal.on)}, before it began with its keeper on {day_in_words(began)}.",
            field="day",
        )
    if returned is not None:
        deal, lineage_name = replace(deal, kind=Acquisition.Kind.RETURNED), ""
    else:
        if deal.kind == Acquisition.Kind.RETURNED:
            raise BadValue(
                "By its passport it does not come from a plug of yours, so it did not come back; choose another way.",
                field="kind",
            )
        lineage_name = " ".join((lineage_name or passport.line.name).split())
        _begin_lineage(passport, lineage_name, growth_form=growth_form, by=by)
    acquisition = _bring_in(
        deal=deal,
        lineage_name=lineage_name,
        returned_plug=returned,
        today=today,
        as_colony=as_colony,
        tag=tag,
        spot=spot,
        stage=stage,
        size_mm=size_mm,
        rack=rack,
        submission=submission,
        by=by,
    )
    _keep(passport, acquisition, by=by)
    return acquisition


def _begin_lineage(passport: Passport, name: str, *, growth_form: str, by) -> None:
    """A lineage that is new here begins with what the passport says of it; one that is kept stays as it is."""
    if Lineage.objects.filter(name__iexact=name).exists():
        return
    line = passport.line
    keep_lineage(
        lineage=Lineage(
            name=name,
            sold_as=line.name,
            genus=line.genus,
            species=line.species if line.genus else "",
            origin=line.origin or "unknown",
            growth_form=growth_form,
        ),
        by=by,
    )


def _bring_in(*, as_colony, tag, spot, stage, size_mm, rack, returned_plug: Plug | None, **shared) -> Acquisition:
    if as_colony:
        if not tag.strip():
            raise BadValue("Give the colony a tag.", field="tag")
        return acquire_colony_from(tag=tag, spot=spot, returned_plug=returned_plug, **shared)
    if tag.strip():
        raise BadValue(
            f"A plug has a code and no tag; leave “{tag.strip()}” out, or bring it in as a colony.", field="tag"
        )
    return acquire_plugs_from(count=1, stage=stage, size_mm=size_mm, rack=rack, returned_plug=returned_plug, **shared)


def _keep(passport: Passport, acquisition: Acquisition, *, by) -> None:
    own = own_did()
    keys = {}
    for part in passport.parts():
        if part.did != own and part.did not in keys:
            keys[part.did] = KnownKey.objects.filter(did=part.did).first() or _new_key(part.did, by=by)
    kept = earlier_import(passport) or ImportedPassport()  # one recorded by mistake goes over to what is right
    kept.acquisition = acquisition
    kept.text, kept.digest = passport.text, passport.digest
    kept.key = keys.get(passport.did)
    kept.code, kept.about, kept.is_colony = passport.line.code, passport.about, passport.line.itself.is_colony
    kept.imported_by = by
    try:
        with transaction.atomic():
            kept.save()
    except IntegrityError as error:  # somebody else took it in at this moment
        earlier = earlier_import(passport)
        if earlier is None:
            raise
        raise PassportCameAlready(earlier.acquisition) from error


def _new_key(did: str, *, by) -> KnownKey:
    key = KnownKey(did=did)
    key._history_user = by
    key.save()
    return key

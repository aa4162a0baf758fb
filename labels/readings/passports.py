"""What passports say: who signed, what came before, whether it is known here."""

from dataclasses import dataclass, field
from datetime import datetime
from functools import lru_cache

from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format

from labels.keeper_key import own_did
from labels.models import KnownKey
from labels.models import Passport as ImportedPassport
from labels.passports.document import ACQUISITION, CUT, GROWING_ON, RETURN, Line
from labels.passports.errors import PassportRefused
from labels.passports.reading import Passport, read_passport
from propagation.actions.part_with import LEFT
from propagation.models import Acquisition, Colony, Fate, Lineage, Origin, Plug
from propagation.provenance import EarlierKeeper, EarlierStep


def as_read(imported: ImportedPassport) -> Passport:
    """An imported passport taken apart again; raises PassportRefused for one that this Ramet can no longer read."""
    return _taken_apart(imported.text, imported.imported_at)


@lru_cache(maxsize=32)  # a long chain takes a second, and strangers may ask for its page again and again
def _taken_apart(text: str, imported_at: datetime) -> Passport:
    return read_passport(text.encode(), now=max(timezone.now(), imported_at))


# Telling a passport -------------------------------------------------------------------------------------------------


def steps_of(line: Line) -> list[EarlierStep]:
    """The steps of a line as one keeper tells it, the nearest first."""
    steps = []
    for at, individual in enumerate(line.individuals):
        before = line.individuals[at + 1] if at + 1 < len(line.individuals) else None
        if individual.came_by == CUT:
            what = f"Frag {line.code_in_clear} was cut" if at == 0 else "Cut"
            steps.append(EarlierStep(individual.began, "cut", what, f"from the mother colony {before.tag}"))
        elif individual.came_by == GROWING_ON:
            steps.append(EarlierStep(individual.began, "colonies", f"Colony {individual.tag} began"))
        if individual.came_by in (ACQUISITION, RETURN):
            if individual.is_colony and individual.began != individual.acquired:
                steps.append(EarlierStep(individual.began, "colonies", f"Colony {individual.tag} began"))
            came = "Came back" if individual.came_by == RETURN else "Came to this keeper"
            detail = f"as the colony {individual.tag}" if individual.is_colony else ""
            steps.append(EarlierStep(individual.acquired, "acquired", came, detail))
    return steps


@dataclass(frozen=True)
class Signer:
    """Who signed: the name the keeper here gave the key, and the name that the passport itself gives."""

    did: str
    fingerprint: tuple[str, ...]
    calls_itself: str
    known_as: str = ""
    is_own: bool = False
    is_known: bool = False

    def __str__(self):
        if self.is_own:
            return "you"
        return self.known_as or self.calls_itself or "a keeper without a name"


@dataclass(frozen=True)
class PassportPart:
    """What one keeper tells in a passport."""

    signer: Signer
    created: datetime
    code_in_clear: str
    tag: str
    line_name: str
    scientific_name: str
    steps: list[EarlierStep]


def parts_of(passport: Passport) -> list[PassportPart]:
    """Each keeper's part, the latest first. Two queries at most."""
    parts = list(passport.parts())
    known = {key.did: key for key in KnownKey.objects.filter(did__in=[part.did for part in parts])}
    own = own_did()
    return [
        PassportPart(
            signer=Signer(
                did=part.did,
                fingerprint=part.fingerprint,
                calls_itself=part.keeper,
                known_as=known[part.did].name if part.did in known else "",
                is_own=part.did == own,
                is_known=part.did in known,
            ),
            created=part.created,
            code_in_clear=part.line.code_in_clear,
            tag=part.line.itself.tag,
            line_name=part.line.name,
            scientific_name=part.line.scientific_name,
            steps=steps_of(part.line),
        )
        for part in parts
    ]


def before_acquisitions(acquisitions: list[int], *, for_strangers: bool = False) -> list[EarlierKeeper]:
    """What the passports that came with these acquisitions tell, the latest keeper first; one's own parts left out.

    Strangers are not told what the keeper calls a key, for that may be a contact. Two queries and one a passport.
    """
    found = {each.acquisition_id: each for each in ImportedPassport.objects.filter(acquisition__in=acquisitions)}
    keepers, told = [], set()
    for imported in (found[pk] for pk in acquisitions if pk in found):
        url = "" if for_strangers else reverse("passport", args=[imported.pk])
        try:
            parts = parts_of(as_read(imported))
        except PassportRefused as error:
            keepers.append(EarlierKeeper("The passport it came with cannot be read", str(error), [], url))
            continue
        for part in parts:
            key = (part.signer.did, part.code_in_clear)
            if part.signer.is_own or key in told:
                continue
            told.add(key)
            keepers.append(_earlier_keeper(part, url, for_strangers=for_strangers))
    return keepers


def _earlier_keeper(part: PassportPart, url: str, *, for_strangers: bool) -> EarlierKeeper:
    signer = part.signer
    name = signer.calls_itself if for_strangers else str(signer)
    signed = f"signed on {date_format(part.created)}, key {' '.join(signer.fingerprint)}"
    return EarlierKeeper(
        heading=f"As told by {name or 'a keeper without a name'}",
        detail=signed,
        steps=part.steps,
        url=url,
        told={
            "key": signer.did,
            "name": signer.calls_itself,
            "known_as": signer.known_as,
            "signed": part.created,
            "code": part.code_in_clear,
            "lineage": part.line_name,
            "steps": [{"date": step.day, "what": f"{step.title} {step.detail}".strip()} for step in part.steps],
        },
    )


# Judging one before it is taken in ----------------------------------------------------------------------------------


@dataclass
class Offer:
    """What can be done with a passport that was read: where it fits into the records, and what to beware of."""

    passport: Passport
    parts: list[PassportPart]
    lineage: Lineage | None  # of the same name
    returned_plug: Plug | None = None  # one's own, of which this is a part or the whole
    imported: Acquisition | None = None  # it came already
    never_left: Plug | None = None  # one's own, which stands here still
    warnings: list[str] = field(default_factory=list)

    @property
    def origin(self) -> str:
        return Origin(self.passport.line.origin).label if self.passport.line.origin else ""


def earlier_import(passport: Passport) -> ImportedPassport | None:
    """The passport as it was imported already: the same file, or another of the same plug."""
    found = ImportedPassport.objects.select_related("acquisition__lineage", "key")
    same = found.filter(digest=passport.digest).first()
    if same is None and not passport.line.itself.is_colony and passport.did != own_did():
        same = found.filter(about=passport.about, is_colony=False).first()
    return same


def is_recorded_by_mistake(acquisition: Acquisition) -> bool:
    """Was all that an acquisition brought taken out of the records again?"""
    plugs, colonies = acquisition.plugs.all(), acquisition.colonies.all()
    return not (plugs.exclude(fate=Fate.VOID).exists() or colonies.exclude(end_reason="mistake").exists())


def own_plug_in(passport: Passport) -> tuple[Plug | None, bool]:
    """The keeper's own plug that a passport leads back to, the latest, and whether the passport is about that one."""
    own = own_did()
    for part in passport.parts():
        if part.did == own and not part.line.itself.is_colony:
            plug = Plug.objects.select_related("lineage").filter(code=part.line.code).first()
            if plug is not None:
                return plug, part is passport
    return None, False


def judge(passport: Passport) -> Offer:
    """Where a passport fits into the records here. A handful of queries."""
    line = passport.line
    offer = Offer(
        passport=passport,
        parts=parts_of(passport),
        lineage=Lineage.objects.filter(name__iexact=line.name).first(),
    )
    earlier = earlier_import(passport)
    if earlier is not None and not is_recorded_by_mistake(earlier.acquisition):
        offer.imported = earlier.acquisition
    plug, is_itself = own_plug_in(passport)
    signer = offer.parts[0].signer
    if plug is not None and plug.fate in LEFT:
        offer.returned_plug = plug
        offer.lineage = plug.lineage
    elif plug is not None and is_itself:
        offer.never_left = plug
    elif plug is not None:
        offer.warnings.append(
            f"It says that it comes from your plug {plug.code_in_clear}, which never left you by your records."
        )
    elif signer.is_own:
        offer.warnings.append(_own_words(line))
    else:
        offer.warnings += _same_codes(passport)
    if not signer.is_own and not signer.known_as:
        offer.warnings.append(
            "You have not named this key yet. Let its keeper read the figures to you; if they are the same, "
            "it is theirs. Anybody can call themselves what they like."
        )
    if offer.lineage and offer.returned_plug is None and offer.lineage.genus and line.genus:
        ours, theirs = (offer.lineage.genus, offer.lineage.species), (line.genus, line.species)
        if ours[0] != theirs[0] or (ours[1] and theirs[1] and ours[1] != theirs[1]):
            offer.warnings.append(
                f"Your lineage {offer.lineage} is {offer.lineage.binomial}; "
                f"this passport says {line.scientific_name}. Take another name if it is another line."
            )
    return offer


def _own_words(line: Line) -> str:
    if line.itself.is_colony and Colony.objects.filter(code=line.code).exists():
        return f"You signed it yourself: it is of your colony {line.itself.tag}."
    return (
        f"You signed it yourself, but {line.itself.tag or line.code_in_clear} is not in your records. "
        "They may be from another time than your key."
    )


def _same_codes(passport: Passport) -> list[str]:
    """Plugs here that have a code of the passport, though another key signed: perhaps the keeper's own, now lost."""
    codes_told = {part.line.code for part in passport.parts() if not part.line.itself.is_colony}
    return [
        f"You have a plug {plug.code_in_clear} yourself, but not with this key. If you signed it with a key that you "
        "lost, bring it in as the return of that plug instead."
        for plug in Plug.objects.filter(code__in=codes_told)
    ]

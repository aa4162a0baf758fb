"""Issuing a passport: what a stranger may see of a plug or colony, signed with the keeper's key."""

from datetime import datetime

from labels.keeper_key import keeper_key
from labels.models import Passport
from labels.passports.document import ACQUISITION, CUT, GROWING_ON, RETURN, Individual, Line, compose, plain_text
from labels.passports.errors import PassportTooLong
from labels.passports.reading import MOST_BYTES, fit_to_carry
from labels.passports.signing import canonical, did_of, sign
from labels.readings.passports import as_read
from propagation.errors import PlugGone
from propagation.models import Colony, Fate, Plug, Preferences
from propagation.readings.trace import Generation, ancestry_of, as_day


def issue_passport(*, individual: Plug | Colony, now: datetime) -> bytes:
    """The passport of a plug or colony as it is handed on: one line of canonical JSON, signed.

    It tells what the public page tells and nothing else, and carries the passports that its line came with. Writes
    nothing but the keeper's key, on first need. Raises PlugGone for a void plug, PassportTooLong, KeyUnreadable.
    """
    if isinstance(individual, Plug) and individual.fate == Fate.VOID:
        raise PlugGone(individual, "given a passport")
    key = keeper_key()
    did = did_of(key)
    generations = ancestry_of(individual)
    came_with = {
        passport.acquisition_id: passport
        for passport in Passport.objects.filter(
            acquisition__in=[row.acquisition_id for row in generations if row.acquisition_id]
        )
    }
    line = line_of(individual, generations, {pk: passport.about for pk, passport in came_with.items()})
    # One's own part is told afresh; of others each signed part travels whole.
    of_others = [
        came_with[row.acquisition_id]
        for row in generations
        if row.acquisition_id in came_with and came_with[row.acquisition_id].key_id
    ]
    carried = fit_to_carry([as_read(passport) for passport in of_others])
    keeper = plain_text(Preferences.current().display_name)
    while True:
        document = compose(line, did=did, keeper=keeper, priors=[passport.document for passport in carried])
        data = canonical(sign(document, key=key, created=now))
        if len(data) <= MOST_BYTES:
            return data
        if not carried:
            raise PassportTooLong(
                f"The line of {individual.code_in_clear} has {len(generations)} generations; "
                "its passport would be larger than a megabyte, and no keeper could read it."
            )
        carried.pop()


def line_of(individual: Plug | Colony, generations: list[Generation], priors: dict[int, str]) -> Line:
    """A line of descent as a passport tells it; ``priors`` says what the passport of an acquisition is about."""
    lineage = individual.lineage
    individuals = []
    for row, following in zip(generations, [*generations[1:], None], strict=True):
        arrival = {}
        if row.acquisition_id:
            arrival = {
                "came_by": RETURN if following else ACQUISITION,
                "acquired": as_day(row.acquired_on),
                "prior": priors.get(row.acquisition_id, ""),
            }
        if row.plug_id:
            came = {"came_by": CUT} if row.cut_event_id else arrival
            individuals.append(Individual(began=as_day(row.plug_began_on), **came))
        if row.tag:
            came = arrival or {"came_by": GROWING_ON}
            individuals.append(Individual(began=as_day(row.colony_began_on), tag=plain_text(row.tag), **came))
    return Line(
        code=individual.code,
        name=plain_text(lineage.name),
        individuals=tuple(individuals),
        genus=plain_text(lineage.genus),
        species=plain_text(lineage.species) if lineage.genus else "",
        origin="" if lineage.origin == "unknown" else lineage.origin,
    )

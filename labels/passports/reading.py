"""Takes a passport apart, and refuses what is altered, unsigned, impossible or not understood."""

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from labels.passports.document import (
    ACQUISITION,
    CONTEXT,
    CUT,
    GROWING_ON,
    ORIGINS,
    RETURN,
    VERSION,
    Individual,
    Line,
    addresses,
    compose,
    is_plain,
)
from labels.passports.errors import PassportRefused
from labels.passports.signing import canonical, fingerprint, key_of, verify
from propagation import codes
from propagation.dates import day_in_words
from propagation.errors import CodeMistyped

MOST_BYTES = 1_000_000
DEEPEST = 64  # brackets within brackets; each earlier keeper takes two
MOST_PARTS = 24  # keepers that a line has passed through
EARLIEST = date(1970, 1, 1)  # as for every day of a keeper's records
ONE_DAY = timedelta(days=1)  # clocks and time zones differ by less
LONGEST = {"name": 120, "genus": 60, "specificEpithet": 60, "tag": 24, "keeper": 80}  # as the records hold them


@dataclass(frozen=True)
class Passport:
    """A passport whose signatures fit: what one keeper tells, and the passports it carries inside."""

    line: Line
    did: str
    keeper: str
    created: datetime
    about: str
    document: dict
    priors: tuple["Passport", ...]

    @property
    def fingerprint(self) -> tuple[str, ...]:
        return fingerprint(self.did)

    @property
    def text(self) -> str:
        """The canonical text, as it is kept and handed on."""
        return canonical(self.document).decode()

    @property
    def digest(self) -> str:
        return hashlib.sha256(canonical(self.document)).hexdigest()

    def parts(self) -> Iterator["Passport"]:
        """This passport and all it carries, the latest keeper first."""
        yield self
        for prior in self.priors:
            yield from prior.parts()

    def prior_about(self, name: str) -> "Passport | None":
        """The passport inside with which an individual of this line came."""
        return next((prior for prior in self.priors if prior.about == name), None)


def read_passport(data: bytes, *, now: datetime) -> Passport:
    """Read a passport and check all of it.

    ``now`` is the moment with its time zone; a day after tomorrow is in the future. Raises PassportRefused with the
    reason.
    """
    document = _json_of(data)
    passport = _read_part(document, now=now, budget=[MOST_PARTS])
    _refuse_circles(passport)
    return passport


# The file as JSON ---------------------------------------------------------------------------------------------------


def _json_of(data: bytes):
    if len(data) > MOST_BYTES:
        raise PassportRefused("The file is too large for a passport; one has a megabyte at most.")
    if not data.strip():
        raise PassportRefused("The file is empty. Ask for the passport again.")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise PassportRefused(
            "This is no passport: the file is not JSON. Choose the file that ends in .jsonld."
        ) from error
    if _depth_of(text) > DEEPEST:
        raise PassportRefused("The file is nested too deeply for a passport.")
    try:
        return json.loads(text, object_pairs_hook=_once_each, parse_constant=_no_constant)
    except (ValueError, RecursionError) as error:
        raise PassportRefused(
            "This is no passport: the file is not JSON. Choose the file that ends in .jsonld."
        ) from error


def _depth_of(text: str) -> int:
    """How deep brackets stand within brackets, told without building anything."""
    depth = deepest = 0
    in_string = escaped = False
    for character in text:
        if in_string:
            if escaped:
                escaped = False
            elif character == "\\":
                escaped = True
            elif character == '"':
                in_string = False
        elif character == '"':
            in_string = True
        elif character in "[{":
            depth += 1
            deepest = max(deepest, depth)
        elif character in "]}":
            depth -= 1
    return deepest


def _once_each(pairs):
    found = dict(pairs)
    if len(found) != len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise PassportRefused(f"The file says “{twice[:40]}” twice in one place, so it could be read in two ways.")
    return found


def _no_constant(text):
    raise ValueError(f"{text} is no JSON")


# One keeper's part --------------------------------------------------------------------------------------------------


def _read_part(document, *, now: datetime, budget: list[int]) -> Passport:
    budget[0] -= 1
    if budget[0] < 0:
        raise PassportRefused(f"The line passed through more than {MOST_PARTS} keepers; such a passport is not read.")
    if not isinstance(document, dict) or "schemaVersion" not in document:
        raise PassportRefused("This is JSON, but no passport of a plug.")
    if document["schemaVersion"] != VERSION:
        raise PassportRefused(
            f"This passport is of another version, “{str(document['schemaVersion'])[:40]}”; "
            f"this Ramet reads {VERSION}. Ask for that version, or bring Ramet up to date."
        )
    if document.get("@context") != CONTEXT:
        raise PassportRefused("The terms of this passport are not those of its version, so it is not read.")
    teller = document.get("wasAttributedTo")
    if not isinstance(teller, dict) or not isinstance(teller.get("id"), str):
        raise PassportRefused("This passport does not say who signed it.")
    did = teller["id"]
    key_of(did)
    created = verify(document, did=did)
    if created > now + ONE_DAY:
        raise PassportRefused(f"The passport was signed on {day_in_words(created)}, which lies in the future.")
    keeper = _text(teller.get("name"), "keeper", may_be_empty=True)
    priors = document.get("prior", [])
    if not isinstance(priors, list) or ("prior" in document and not priors):
        raise PassportRefused("The earlier passports inside this one are not in order.")
    inner = tuple(_read_part(prior, now=now, budget=budget) for prior in priors)
    line = _read_line(document, did)
    bare = {name: value for name, value in document.items() if name != "proof"}
    again = compose(line, did=did, keeper=keeper, priors=priors)
    if _sorted(again) != _sorted(bare):
        raise PassportRefused(f"The passport holds something that {VERSION} does not have, so it is not read.")
    passport = Passport(line, did, keeper, created, document["about"], document, inner)
    _check_days(passport, now)
    _check_priors(passport)
    return passport


def _sorted(document: dict) -> dict:
    """The order of a graph's nodes says nothing."""
    return document | {"@graph": sorted(document["@graph"], key=lambda node: node["id"])}


def _text(value, what: str, *, may_be_empty=False) -> str:
    if not isinstance(value, str) or len(value) > LONGEST[what] or not (value.strip() or may_be_empty):
        raise PassportRefused("A name in the passport is missing, or is too long to be one.")
    if not is_plain(value):
        raise PassportRefused("A name in the passport holds signs that cannot be seen.")
    return value


def _day(node: dict, term: str) -> date:
    value = node.get(term)
    try:
        told = datetime.fromisoformat(value) if isinstance(value, str) else None
    except ValueError:
        told = None
    if told is None or f"{told:%Y-%m-%dT00:00:00}" != value:
        raise PassportRefused(f"“{str(value)[:40]}” in the passport is no day.")
    return told.date()


def _read_line(document: dict, did: str) -> Line:
    """The line as the graph tells it, followed from the plug or colony itself."""
    graph = document.get("@graph")
    if not isinstance(graph, list) or not all(
        isinstance(node, dict) and isinstance(node.get("id"), str) for node in graph
    ):
        raise PassportRefused("The passport holds no line of descent.")
    nodes = {node["id"]: node for node in graph}
    if len(nodes) != len(graph):
        raise PassportRefused("The passport tells something twice.")
    individuals, seen = [], set()
    name = itself = document.get("about")
    while name is not None:
        if not isinstance(name, str) or name not in nodes:
            raise PassportRefused("The line in the passport breaks off; ask for the file again.")
        if name in seen:
            raise PassportRefused("The line in the passport goes in a circle: something would descend from itself.")
        seen.add(name)
        individual, name = _read_individual(nodes, nodes[name])
        individuals.append(individual)
    first = nodes[itself]
    try:
        code = codes.read_code(str(first.get("identifier", "")))
    except CodeMistyped as error:
        raise PassportRefused("The code in the passport is mistyped.") from error
    origin = first.get("origin", "")
    if origin not in ("", *ORIGINS):
        raise PassportRefused(f"“{str(origin)[:40]}” is no origin of a line.")
    line = Line(
        code=code,
        name=_text(first.get("name"), "name"),
        individuals=tuple(individuals),
        genus=_text(first.get("genus", ""), "genus", may_be_empty=True),
        species=_text(first.get("specificEpithet", ""), "specificEpithet", may_be_empty=True),
        origin=origin,
    )
    if addresses(line, did)[0] != itself:
        raise PassportRefused("The passport is not about the plug or colony that it names.")
    return line


def _read_individual(nodes: dict, node: dict) -> tuple[Individual, str | None]:
    """An individual of the line and the name of the one before it, None for the first."""
    began = _day(node, "generatedAtTime")
    tag = _text(node["tag"], "tag") if "tag" in node else ""
    source = node.get("wasDerivedFrom")
    if "wasGeneratedBy" in node:
        act = nodes.get(node["wasGeneratedBy"]) if isinstance(node["wasGeneratedBy"], str) else None
        if act is None or act.get("name") not in (CUT, GROWING_ON):
            raise PassportRefused("The line in the passport breaks off; ask for the file again.")
        if source is None:
            raise PassportRefused("The line in the passport breaks off; ask for the file again.")
        return Individual(began, act["name"], tag), source
    acquisition = nodes.get(source) if isinstance(source, str) else None
    if acquisition is None or acquisition.get("name") not in (ACQUISITION, RETURN):
        raise PassportRefused("The line in the passport breaks off; ask for the file again.")
    sources = acquisition.get("wasDerivedFrom", [])
    if not isinstance(sources, list) or len(sources) > 2 or not all(isinstance(each, str) for each in sources):
        raise PassportRefused("The line in the passport is not in order.")
    before = [each for each in sources if each in nodes]
    prior = [each for each in sources if each not in nodes]
    if len(before) > 1 or len(prior) > 1 or bool(before) != (acquisition["name"] == RETURN):
        raise PassportRefused("The line in the passport is not in order.")
    individual = Individual(
        began, acquisition["name"], tag, _day(acquisition, "generatedAtTime"), prior[0] if prior else ""
    )
    return individual, before[0] if before else None


# What a line may not say --------------------------------------------------------------------------------------------


def _check_days(passport: Passport, now: datetime) -> None:
    latest = (now + ONE_DAY).date()
    later = None
    for individual in passport.line.individuals:
        for day in filter(None, (individual.began, individual.acquired)):
            if day > latest or day > (passport.created + ONE_DAY).date():
                raise PassportRefused(f"A day in the passport, {day_in_words(day)}, lies in the future.")
            if day < EARLIEST:
                raise PassportRefused(f"A day in the passport, {day_in_words(day)}, is too long ago.")
            if later is not None and day > later:
                raise PassportRefused(
                    "The days in the passport run backwards: what came of it is of "
                    f"{day_in_words(later)}, it itself of {day_in_words(day)}."
                )
            later = day


def _check_priors(passport: Passport) -> None:
    """Every passport inside is one that an individual of the line came with, older than it and than this one."""
    abouts = [prior.about for prior in passport.priors]
    if len(set(abouts)) != len(abouts):
        raise PassportRefused("The passport carries two earlier ones about the same plug.")
    came_with = {each.prior: each for each in passport.line.individuals if each.prior}
    for prior in passport.priors:
        individual = came_with.get(prior.about)
        if individual is None:
            raise PassportRefused("The passport carries one of a plug that is not in its line.")
        if prior.line.itself.began > individual.acquired:
            raise PassportRefused(
                f"The days in the passport run backwards: it came on {day_in_words(individual.acquired)}, "
                f"before it began with the keeper before, on {day_in_words(prior.line.itself.began)}."
            )
        if prior.created > passport.created + ONE_DAY:
            raise PassportRefused("The passport carries one that was signed after it.")


def _refuse_circles(passport: Passport) -> None:
    """All parts together are one graph; nothing in it may descend from itself."""
    sources: dict[str, set[str]] = {}
    for part in passport.parts():
        names = addresses(part.line, part.did)
        for at, (individual, name) in enumerate(zip(part.line.individuals, names, strict=True)):
            before = sources.setdefault(name, set())
            before.update(names[at + 1 : at + 2])
            if individual.prior:
                before.add(individual.prior)
    waiting, done = set(), set()
    for start in sources:
        stack = [(start, iter(sources[start]))]
        while stack:
            name, following = stack[-1]
            waiting.add(name)
            nearer = next(following, None)
            if nearer is None:
                stack.pop()
                waiting.discard(name)
                done.add(name)
            elif nearer in waiting:
                raise PassportRefused("The line in the passport goes in a circle: something would descend from itself.")
            elif nearer not in done and nearer in sources:
                stack.append((nearer, iter(sources[nearer])))


def fit_to_carry(passports: list[Passport]) -> list[Passport]:
    """Those of the passports, nearest first, that a new one can carry and still be read.

    One that is inside another already is left out.
    """
    carried, inside, parts = [], set(), 1
    for passport in passports:
        its_parts = list(passport.parts())
        is_told = passport.digest in inside or passport.about in {each.about for each in carried}
        if is_told or parts + len(its_parts) > MOST_PARTS:
            continue
        carried.append(passport)
        parts += len(its_parts)
        inside.update(part.digest for part in its_parts)
    return carried

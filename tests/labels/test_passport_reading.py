"""What a passport says is read back whole, and whatever is not in order is refused with the reason."""

import copy
import json
from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from pyld import jsonld

from labels.passports.document import ACQUISITION, CUT, ORIGINS, RETURN, Individual, Line, plain_text
from labels.passports.errors import PassportRefused
from labels.passports.reading import MOST_BYTES, MOST_PARTS, fit_to_carry, read_passport
from labels.passports.signing import canonical, did_of, sign
from propagation import codes
from propagation.models import Origin
from tests.labels.passport_samples import (
    CODE,
    EARLIER,
    KEY,
    NOW,
    OTHER_CODE,
    OTHER_KEY,
    chained,
    document,
    line,
    read,
    signed,
)

PROV = "http://www.w3.org/ns/prov#"
SCHEMA = "https://schema.org/"
DWC = "http://rs.tdwg.org/dwc/terms/"


def test_what_is_told_is_read_back():
    passport = read(signed())
    assert passport.line == line()
    assert passport.keeper == "The Lagoon Shed"
    assert passport.did == did_of(KEY)
    assert passport.created == EARLIER
    assert passport.priors == ()


def test_formatting_is_no_alteration():
    told = json.dumps(signed(), indent=4).encode()
    assert read_passport(told, now=NOW).line == line()
    assert read_passport(b"\xef\xbb\xbf" + told, now=NOW).digest == read(signed()).digest


def test_the_earlier_passport_travels_whole_with_its_own_signature():
    first = signed()
    passport = read(chained(first))
    assert passport.keeper == ""
    assert [part.did for part in passport.parts()] == [did_of(OTHER_KEY), did_of(KEY)]
    assert canonical(passport.priors[0].document) == canonical(first)
    assert passport.priors[0].line == line()
    assert read(passport.priors[0].document).digest == passport.priors[0].digest  # each part can be checked by itself
    assert passport.prior_about(first["about"]).did == did_of(KEY)


plain = st.text(min_size=1, max_size=24).map(plain_text).filter(bool)
days = st.dates(date(1990, 1, 1), date(2026, 4, 1))


@st.composite
def lines(draw):
    """Lines of any length, days falling from the plug to its acquisition."""
    cuts = draw(st.integers(0, 6))
    falling = sorted(draw(st.lists(days, min_size=2 * cuts + 1, max_size=2 * cuts + 1)), reverse=True)
    individuals = []
    for at in range(cuts):
        individuals.append(Individual(falling[2 * at], CUT))
        came_by = "Growing on" if at + 1 < cuts else ACQUISITION
        acquired = falling[2 * at + 1] if came_by == ACQUISITION else None
        individuals.append(Individual(falling[2 * at + 1], came_by, f"{at}{draw(plain)}"[:24].strip(), acquired))
    if not cuts:
        individuals = [Individual(falling[0], ACQUISITION, "", falling[0])]
    return Line(
        code=draw(st.sampled_from([CODE, OTHER_CODE])),
        name=draw(plain),
        individuals=tuple(individuals),
        genus=draw(st.sampled_from(["", "Acropora", "Montipora"])),
        origin=draw(st.sampled_from(["", *ORIGINS])),
    )


@given(lines())
def test_any_line_comes_back_as_it_was(told):
    assert read(signed(told)).line == told


def test_a_return_goes_on_beyond_it():
    told = replace(
        line(),
        individuals=(
            Individual(date(2026, 5, 1), RETURN, "", date(2026, 5, 1), "did:key:zother/plug/X"),
            *line().individuals,
        ),
    )
    assert read(signed(told)).line == told


# Meaning ------------------------------------------------------------------------------------------------------------


def no_net(url, options):
    raise AssertionError(f"{url} would be fetched")


def test_a_general_processor_finds_prov_schema_and_darwin_core():
    """PyLD, an implementation of JSON-LD 1.1 of its own; nothing is fetched, for the context stands in the file."""
    first = signed()
    (bundle,) = jsonld.expand(chained(first), {"documentLoader": no_net})
    assert bundle["@type"] == [f"{PROV}Bundle"]
    assert bundle[f"{SCHEMA}schemaVersion"] == [{"@value": "ramet-passport-1"}]
    (prior,) = bundle[f"{PROV}hadPrimarySource"]
    assert prior["@id"] == first["id"]
    did = did_of(KEY)
    (agent,) = prior[f"{PROV}wasAttributedTo"]
    assert agent == {"@id": did, "@type": [f"{PROV}Agent"], f"{SCHEMA}name": [{"@value": "The Lagoon Shed"}]}
    nodes = {node["@id"]: node for node in prior["@graph"]}
    plug = nodes[f"{did}/plug/{CODE}"]
    assert prior[f"{SCHEMA}about"] == [{"@id": plug["@id"]}]
    assert plug["@type"] == [f"{PROV}Entity", f"{DWC}Organism"]
    assert plug[f"{SCHEMA}name"] == [{"@value": "Harbour Ember"}]
    assert plug[f"{SCHEMA}identifier"] == [{"@value": "G6X9-8HR4"}]
    assert plug[f"{DWC}scientificName"] == [{"@value": "Acropora millepora"}]
    assert plug[f"{DWC}genus"] == [{"@value": "Acropora"}]
    assert plug[f"{PROV}wasAttributedTo"] == [{"@id": did}]
    (mother,) = plug[f"{PROV}wasDerivedFrom"]
    assert nodes[mother["@id"]][f"{DWC}organismName"] == [{"@value": "MOTHER-2"}]
    (cut,) = plug[f"{PROV}wasGeneratedBy"]
    assert nodes[cut["@id"]]["@type"] == [f"{PROV}Activity"]
    assert nodes[cut["@id"]][f"{PROV}endedAtTime"] == [
        {"@value": "2026-04-01T00:00:00", "@type": "http://www.w3.org/2001/XMLSchema#dateTime"}
    ]
    (growing_on,) = nodes[mother["@id"]][f"{PROV}wasGeneratedBy"]
    assert nodes[growing_on["@id"]][f"{SCHEMA}name"] == [{"@value": "Growing on"}]
    acquisition = nodes[f"{did}/colony/GRAND%2F1/acquisition"]
    assert acquisition["@type"] == [f"{PROV}Entity"]


def test_the_chain_of_descent_runs_on_across_keepers():
    """As RDF, a processor can walk from the last keeper's plug to the first one's acquisition."""
    data = jsonld.to_rdf(chained(signed()), {"documentLoader": no_net})
    derived = {
        triple["subject"]["value"]: triple["object"]["value"]
        for graph in data.values()
        for triple in graph
        if triple["predicate"]["value"] == f"{PROV}wasDerivedFrom"
    }
    at, walked = f"{did_of(OTHER_KEY)}/plug/{OTHER_CODE}", []
    while at in derived:
        at = derived[at]
        walked.append(at)
    assert f"{did_of(KEY)}/plug/{CODE}" in walked
    assert walked[-1] == f"{did_of(KEY)}/colony/GRAND%2F1/acquisition"


def test_origins_are_those_of_the_records():
    assert set(ORIGINS) == set(Origin.values) - {"unknown"}


# Altered ------------------------------------------------------------------------------------------------------------


def places(value, path=()):
    """Every string in a document, by the way to it."""
    if isinstance(value, dict):
        for name, inner in value.items():
            yield from places(inner, (*path, name))
    elif isinstance(value, list):
        for at, inner in enumerate(value):
            yield from places(inner, (*path, at))
    elif isinstance(value, str):
        yield path


SAMPLE = chained(signed())


@pytest.mark.parametrize("path", list(places(SAMPLE)), ids=lambda path: "/".join(map(str, path))[-60:])
def test_no_value_can_be_altered(path):
    altered = copy.deepcopy(SAMPLE)
    *way, last = path
    inner = altered
    for step in way:
        inner = inner[step]
    inner[last] = inner[last] + "x"
    with pytest.raises(PassportRefused):
        read(altered)


@hypothesis_settings(max_examples=150)
@given(st.integers(0, len(canonical(SAMPLE)) - 1), st.integers(1, 255))
def test_no_byte_can_be_altered(at, difference):
    data = bytearray(canonical(SAMPLE))
    data[at] ^= difference
    with pytest.raises(PassportRefused):
        read_passport(bytes(data), now=NOW)


def test_nothing_can_be_left_out_or_added():
    whole = signed()
    for name in whole:
        with pytest.raises(PassportRefused):
            read({key: value for key, value in whole.items() if key != name})
    for name in whole["proof"]:
        with pytest.raises(PassportRefused):
            read(whole | {"proof": {key: value for key, value in whole["proof"].items() if key != name}})
    with pytest.raises(PassportRefused):
        read(whole | {"price": "12"})
    with pytest.raises(PassportRefused):
        read(whole | {"proof": whole["proof"] | {"note": "x"}})


def test_a_part_inside_that_was_altered_is_refused_though_the_whole_is_signed():
    first = signed()
    first["wasAttributedTo"]["name"] = "Somebody Else"
    with pytest.raises(PassportRefused, match="altered"):
        read(chained(first))


# Refused with the reason --------------------------------------------------------------------------------------------


def refused(data, reason, *, now=NOW):
    with pytest.raises(PassportRefused, match=reason):
        read_passport(data if isinstance(data, bytes) else canonical(data), now=now)


@pytest.mark.parametrize(
    ("data", "reason"),
    [
        (b"", "empty"),
        (b" \n", "empty"),
        (b"not json", "not JSON"),
        (b"\xff\xfe{}", "not JSON"),
        (b"\x89PNG\r\n\x1a\n", "not JSON"),
        (b'{"a": NaN}', "not JSON"),
        (b'{"a": 1' + b"0" * 5000 + b"}", "not JSON"),
        (b"{}", "no passport of a plug"),
        (b"[]", "no passport of a plug"),
        (b"null", "no passport of a plug"),
        (b'"schemaVersion"', "no passport of a plug"),
        (b'{"schemaVersion": "ramet-passport-2"}', "another version"),
        (b'{"schemaVersion": 1}', "another version"),
        (b'{"schemaVersion": {"a": 1, "a": 2}}', "“a” twice"),
        (b'{"a": "' + b"x" * MOST_BYTES + b'"}', "too large"),
        (b"[" * 100_000, "nested too deeply"),
        (b'{"a":' * 100 + b"1" + b"}" * 100, "nested too deeply"),
    ],
)
def test_a_file_that_is_no_passport(data, reason):
    refused(data, reason)


def test_brackets_in_a_name_are_no_nesting():
    told = replace(line(), name='[[[{{{"\\' * 14)
    assert read(signed(told)).line == told


def test_half_a_character_is_refused():
    data = canonical(signed()).replace(b"Harbour", b"\\ud800")
    refused(data, "no text can hold")


def test_one_that_nobody_signed():
    refused(document(), "Nobody signed")
    refused(document() | {"proof": "yes"}, "not in order")
    refused(document() | {"proof": {}}, "not known here")
    refused(signed() | {"proof": signed()["proof"] | {"cryptosuite": "eddsa-rdfc-2022"}}, "not known here")
    refused(signed() | {"wasAttributedTo": {}}, "does not say who")


def changed(change, told=None, **kwargs):
    """A passport that was made wrong and then signed."""
    wrong = copy.deepcopy(document(told, **kwargs))
    change(wrong)
    return sign(wrong, key=KEY, created=EARLIER)


def test_other_terms_than_those_of_the_version():
    def change(wrong):
        wrong["@context"] = wrong["@context"] | {"name": "https://elsewhere.example/name"}

    refused(changed(change), "terms")


def test_something_that_the_version_does_not_have():
    refused(changed(lambda wrong: wrong.update(price="12")), "does not have")
    refused(changed(lambda wrong: wrong["@graph"][0].update(price="12")), "does not have")
    refused(
        changed(lambda wrong: wrong["@graph"].append({"id": "did:key:z/x", "type": "prov:Entity"})), "does not have"
    )


def test_a_moment_of_signing_in_the_future():
    refused(signed(created=NOW + timedelta(days=2)), "lies in the future")
    assert read(signed(created=NOW + timedelta(hours=23)))  # clocks differ by so much


def test_a_day_in_the_future():
    refused(signed(line(cut=NOW.date() + timedelta(days=2)), created=NOW), "17 Jun 2026, lies in the future")
    refused(signed(line(cut=EARLIER.date() + timedelta(days=3))), "lies in the future")  # after it was signed
    assert read(signed(line(cut=NOW.date() + timedelta(days=1)), created=NOW))


def test_a_day_long_ago():
    refused(signed(line(acquired=date(1926, 1, 1))), "too long ago")


def test_days_that_run_backwards():
    refused(signed(line(cut=date(2025, 1, 1))), "run backwards")
    late = Individual(date(2026, 4, 1), ACQUISITION, "M1", date(2026, 4, 2))
    refused(signed(replace(line(), individuals=(Individual(date(2026, 4, 1), CUT), late))), "run backwards")
    refused(chained(signed(), came=date(2026, 3, 31)), "run backwards")


def test_a_passport_inside_that_is_younger_than_the_whole():
    refused(chained(signed(created=EARLIER + timedelta(days=2))), "signed after it")


@pytest.mark.parametrize(
    "text", ["2026-02-30T00:00:00", "2026-04-01", "2026-04-01T00:00:00Z", "yesterday", "", None, 7]
)
def test_what_is_no_day(text):
    refused(changed(lambda wrong: wrong["@graph"][0].update(generatedAtTime=text)), "is no day")


def test_a_circle_within_one_part():
    def change(wrong):
        first, mother = wrong["@graph"][0], wrong["@graph"][2]
        mother["wasDerivedFrom"] = first["id"]

    refused(changed(change), "circle")


def test_a_circle_through_two_keepers():
    """One says that its plug came from the other's, and carries a passport of it that says the contrary."""
    about = f"{did_of(OTHER_KEY)}/plug/{OTHER_CODE}"
    first = signed(line(prior=about))
    refused(chained(first), "circle")


def test_a_line_that_breaks_off():
    refused(changed(lambda wrong: wrong["@graph"].pop()), "breaks off")
    refused(changed(lambda wrong: wrong["@graph"].pop(0)), "breaks off")
    refused(changed(lambda wrong: wrong["@graph"].append(wrong["@graph"][0])), "twice")
    refused(changed(lambda wrong: wrong.update({"@graph": {}})), "no line of descent")
    refused(changed(lambda wrong: wrong.update({"@graph": [7]})), "no line of descent")


@pytest.mark.parametrize(
    ("term", "value", "reason"),
    [
        ("name", "x" * 121, "too long"),
        ("name", "", "missing"),
        ("name", ["x"], "missing"),
        ("name", "ab\u202edc", "cannot be seen"),
        ("name", "ab\ndc", "cannot be seen"),
        ("identifier", "G6X9-8HR5", "mistyped"),
        ("identifier", 7, "mistyped"),
        ("origin", "the moon", "no origin"),
        ("origin", ["wild"], "no origin"),
        ("genus", 7, "missing"),
        ("tag", "x" * 25, "too long"),
        ("wasDerivedFrom", 7, "breaks off"),
        ("wasDerivedFrom", ["x"], "breaks off"),
        ("wasDerivedFrom", None, "breaks off"),
        ("wasGeneratedBy", {"id": "x"}, "breaks off"),
    ],
)
def test_a_value_of_a_wrong_kind(term, value, reason):
    refused(changed(lambda wrong: wrong["@graph"][0].update({term: value})), reason)


def test_a_code_that_is_not_what_it_is_about():
    refused(changed(lambda wrong: wrong["@graph"][0].update(identifier="TDSP-NJ3T")), "not about")


def test_a_passport_inside_must_belong_to_the_line():
    refused(signed(priors=[signed(key=OTHER_KEY)]), "not in its line")
    refused(changed(lambda wrong: wrong.update(prior=[])), "not in order")
    refused(changed(lambda wrong: wrong.update(prior={})), "not in order")
    first = signed()
    refused(signed(line(prior=first["about"]), key=OTHER_KEY, priors=[first, first]), "same plug")


def test_as_many_keepers_as_are_read():
    """Alternating two keys, every plug would come again; so each keeper here has a code of its own."""
    told = signed()
    for at in range(MOST_PARTS):
        key = OTHER_KEY if at % 2 == 0 else KEY
        last, told = told, chained(told, key=key, code=codes.new_code())
    assert len(list(read(last).parts())) == MOST_PARTS
    refused(told, "more than 24 keepers")
    passport = read(last)
    assert fit_to_carry([passport]) == []  # a new one with it inside could not be read
    assert fit_to_carry([passport.priors[0]]) == [passport.priors[0]]


def test_what_is_inside_another_is_carried_once():
    first, second = read(signed()), read(chained(signed()))
    assert fit_to_carry([second, first]) == [second]
    assert fit_to_carry([first, second]) == [first, second]

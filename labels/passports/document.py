"""A line of descent as JSON-LD in the terms of W3C PROV, schema.org and Darwin Core.

A passport is a prov:Bundle: who tells it, what it is about, and a graph of entities and activities. Days are the day's
midnight without a zone, for PROV wants a moment and records keep days. The context stands in the file itself and never
changes within a version, so nothing is fetched and a term can have one meaning only.

Sources: W3C Recommendations PROV-O (2013) and JSON-LD 1.1 (2020); schema.org; Darwin Core, rs.tdwg.org/dwc/terms.
"""

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from urllib.parse import quote

from propagation import codes

VERSION = "ramet-passport-1"

CONTEXT = {
    "@version": 1.1,
    "id": "@id",
    "type": "@type",
    "prov": "http://www.w3.org/ns/prov#",
    "schema": "https://schema.org/",
    "dwc": "http://rs.tdwg.org/dwc/terms/",
    "dcterms": "http://purl.org/dc/terms/",
    "sec": "https://w3id.org/security#",
    "xsd": "http://www.w3.org/2001/XMLSchema#",
    "schemaVersion": "schema:schemaVersion",
    "about": {"@id": "schema:about", "@type": "@id"},
    "name": "schema:name",
    "identifier": "schema:identifier",
    "scientificName": "dwc:scientificName",
    "genus": "dwc:genus",
    "specificEpithet": "dwc:specificEpithet",
    "tag": "dwc:organismName",
    "origin": "dwc:organismRemarks",
    "wasAttributedTo": {"@id": "prov:wasAttributedTo", "@type": "@id"},
    "wasDerivedFrom": {"@id": "prov:wasDerivedFrom", "@type": "@id"},
    "wasGeneratedBy": {"@id": "prov:wasGeneratedBy", "@type": "@id"},
    "used": {"@id": "prov:used", "@type": "@id"},
    "generatedAtTime": {"@id": "prov:generatedAtTime", "@type": "xsd:dateTime"},
    "endedAtTime": {"@id": "prov:endedAtTime", "@type": "xsd:dateTime"},
    "prior": {"@id": "prov:hadPrimarySource", "@type": "@id"},
    "proof": {"@id": "sec:proof", "@type": "@id", "@container": "@graph"},
    "DataIntegrityProof": "sec:DataIntegrityProof",
    "cryptosuite": {"@id": "sec:cryptosuite", "@type": "sec:cryptosuiteString"},
    "created": {"@id": "dcterms:created", "@type": "xsd:dateTime"},
    "verificationMethod": {"@id": "sec:verificationMethod", "@type": "@id"},
    "proofPurpose": {"@id": "sec:proofPurpose", "@type": "@vocab"},
    "assertionMethod": "sec:assertionMethod",
    "proofValue": {"@id": "sec:proofValue", "@type": "sec:multibase"},
}

# As `propagation.models.Origin`, without what is not known.
ORIGINS = ("wild", "maricultured", "captive_grown")
CUT, GROWING_ON, ACQUISITION, RETURN = "Cut", "Growing on", "Acquisition", "Return"
ORGANISM = ["prov:Entity", "dwc:Organism"]


@dataclass(frozen=True)
class Individual:
    """A plug, or a colony with its tag, and what it came of.

    ``came_by`` is CUT (from the individual after it in the line), GROWING_ON (of the plug after it), ACQUISITION or
    RETURN (of the plug after it, which had left). An individual that was acquired has the day of that in ``acquired``
    and, if it came with a passport, what that one is about in ``prior``.
    """

    began: date
    came_by: str
    tag: str = ""
    acquired: date | None = None
    prior: str = ""

    @property
    def is_colony(self) -> bool:
        return bool(self.tag)


@dataclass(frozen=True)
class Line:
    """A line of descent as one keeper tells it, the plug or colony itself first, the acquisition last."""

    code: str
    name: str
    individuals: tuple[Individual, ...]
    genus: str = ""
    species: str = ""
    origin: str = ""

    @property
    def itself(self) -> Individual:
        return self.individuals[0]

    @property
    def scientific_name(self) -> str:
        return f"{self.genus} {self.species}".strip()

    @property
    def code_in_clear(self) -> str:
        return codes.in_clear(self.code)


def plain_text(text: str) -> str:
    """Text without control characters and with single spaces, as a passport holds it."""
    spaced = "".join(" " if character.isspace() else character for character in text)
    return " ".join("".join(character for character in spaced if is_plain(character)).split())


def is_plain(text: str) -> bool:
    """Is it text that stands on a line as it is written: no control characters, none that turn the reading round?"""
    turning = {"LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI"}
    return not any(
        unicodedata.category(character) in ("Cc", "Cs", "Zl", "Zp") or unicodedata.bidirectional(character) in turning
        for character in text
    )


def moment(day: date) -> str:
    """A day as PROV's moments are written."""
    return f"{day.isoformat()}T00:00:00"


def addresses(line: Line, did: str) -> list[str]:
    """The name of each individual of the line, in their order: under the key of who tells it, so no two are alike."""
    names = []
    for at, individual in enumerate(line.individuals):
        if individual.is_colony:
            names.append(f"{did}/colony/{quote(individual.tag, safe='')}")
        elif at == 0:
            names.append(f"{did}/plug/{line.code}")
        else:  # of an earlier plug nothing is told but that it was there
            names.append(f"{names[-1]}/from")
    return names


def compose(line: Line, *, did: str, keeper: str, priors: Sequence[dict] = ()) -> dict:
    """The passport of a line, not yet signed.

    ``did`` names the key of the keeper who tells it, ``keeper`` is the name shown (empty if unnamed), ``priors`` are
    the signed passports with which individuals of the line came.
    """
    names = addresses(line, did)
    graph = []
    for at, (individual, name) in enumerate(zip(line.individuals, names, strict=True)):
        entity = {"id": name, "type": ORGANISM, "wasAttributedTo": did, "generatedAtTime": moment(individual.began)}
        if individual.is_colony:
            entity["tag"] = individual.tag
        if at == 0:
            told = {
                "name": line.name,
                "identifier": line.code_in_clear,
                "scientificName": line.scientific_name,
                "genus": line.genus,
                "specificEpithet": line.species,
                "origin": line.origin,
            }
            entity |= {term: value for term, value in told.items() if value}
        before = names[at + 1] if at + 1 < len(names) else None
        graph.append(entity)
        if individual.came_by in (CUT, GROWING_ON):
            act = f"{name}/{'cut' if individual.came_by == CUT else 'growing-on'}"
            entity |= {"wasDerivedFrom": before, "wasGeneratedBy": act}
            graph.append(
                {
                    "id": act,
                    "type": "prov:Activity",
                    "name": individual.came_by,
                    "endedAtTime": moment(individual.began),
                    "used": before,
                }
            )
        else:
            entity["wasDerivedFrom"] = f"{name}/acquisition"
            acquisition = {
                "id": f"{name}/acquisition",
                "type": "prov:Entity",
                "name": individual.came_by,
                "wasAttributedTo": did,
                "generatedAtTime": moment(individual.acquired),
            }
            sources = [source for source in (before, individual.prior) if source]
            graph.append(acquisition | ({"wasDerivedFrom": sources} if sources else {}))
    document = {
        "@context": CONTEXT,
        "id": f"{did}/passport/{line.code}",
        "type": "prov:Bundle",
        "schemaVersion": VERSION,
        "about": names[0],
        "wasAttributedTo": {"id": did, "type": "prov:Agent", "name": keeper},
        "@graph": graph,
    }
    return document | ({"prior": list(priors)} if priors else {})

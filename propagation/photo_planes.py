"""Planes of photos as they are kept in the records, and back: a mended outline is measured in the same plane."""

from dataclasses import asdict

import numpy as np

from propagation.imaging.plane import Plane

ARRAYS = ("mm_from_pixel", "covariance")
TUPLES = ("size_px", "notes")


DOUBTS = "doubts"


def plane_as_json(plane: Plane, doubts=()) -> dict:
    """A plane as JSON, with sentences on what speaks against its scale.

    ``mm_from_pixel`` is the 3 × 3 homography from upright pixels to mm.
    """
    kept = asdict(plane) | {DOUBTS: list(doubts)}
    for name in ARRAYS:
        kept[name] = np.asarray(kept[name]).tolist()
    for name in TUPLES:
        kept[name] = list(kept[name])
    return kept


def plane_from_json(kept: dict) -> Plane:
    """The plane that was kept."""
    told = {name: value for name, value in kept.items() if name != DOUBTS}
    for name in ARRAYS:
        told[name] = np.array(told[name], dtype=float)
    for name in TUPLES:
        told[name] = tuple(told[name])
    return Plane(**told)


def doubts_of_scale(kept: dict) -> list[str]:
    """What was kept with a plane against its scale."""
    return list(kept.get(DOUBTS, ()))

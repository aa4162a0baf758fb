"""Growth models and the state of a colony as JSON, and back."""

from dataclasses import asdict

import numpy as np

from propagation.yield_model.filter import FilterParameters
from propagation.yield_model.forecast import ColonyStates
from propagation.yield_model.pooling import GrowthModel, LineageRate
from propagation.yield_model.published_rates import RatePrior
from propagation.yield_model.scales import ScaleChoice
from propagation.yield_model.tails import TailShape

_NOT_NUMBERS = ("identifiers", "absurd")
_STATE = [name for name in ColonyStates.__dataclass_fields__ if name not in _NOT_NUMBERS]
_FLAGS = ("declining", "only_guessed")


def _plain(value):
    """The same without numpy's own types."""
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    return value.item() if isinstance(value, np.generic | np.ndarray) else value


def model_to_json(model: GrowthModel) -> dict:
    """All of a growth model in plain values."""
    return _plain(asdict(model))


def model_from_json(kept: dict) -> GrowthModel:
    """The growth model that `model_to_json` took apart.

    Raises KeyError or TypeError when it was kept by another version of the model, which must then be learned anew.
    """
    rates = {name: {key: LineageRate(**rate) for key, rate in kept[name].items()} for name in ("lineages", "others")}
    scale = kept["scale"] | {
        "log_evidence": {float(key): value for key, value in kept["scale"]["log_evidence"].items()}
    }
    return GrowthModel(
        **kept
        | rates
        | {
            "scale": ScaleChoice(**scale),
            "parameters": FilterParameters(**kept["parameters"]),
            "form_rate": LineageRate(**kept["form_rate"]),
            "published": RatePrior(**kept["published"]),
            "tails": TailShape(**kept["tails"]),
        }
    )


def state_to_json(states: ColonyStates, index: int) -> dict:
    """One colony's state in plain values."""
    return {name: _plain(getattr(states, name)[index]) for name in _STATE}


def states_from_json(kept: list[dict], identifiers: list[str]) -> ColonyStates:
    """States of several colonies, in the order given."""
    arrays = {
        name: np.array([state[name] for state in kept], dtype=bool if name in _FLAGS else float) for name in _STATE
    }
    return ColonyStates(identifiers=list(identifiers), absurd=[], **arrays)

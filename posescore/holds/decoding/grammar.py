"""The grammar of positions: what may follow what, how long it lasts, how evidence counts."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any, Final

import numpy as np

from posescore.errors import OwnFailureError
from posescore.holds.decoding.segments import SegmentModel
from posescore.terms import STATES, Position, State

FORMAT: Final = 1
_SHIPPED: Final = Path(__file__).with_name("grammar.toml")
_RELATIONS: Final = ("same", "other", "either", "neither")


@dataclass(frozen=True, slots=True)
class EvidenceRule:
    """How probabilities of frames count as evidence; see ``grammar.toml`` for the reasons."""

    correlation_s: float
    outliers: float
    most_observations: float
    least_probability: float
    bridge_s: float


@dataclass(frozen=True, slots=True, eq=False)
class Grammar:
    """A segmental model over :data:`posescore.terms.STATES` and the rule of evidence."""

    model: SegmentModel
    evidence: EvidenceRule

    @classmethod
    @cache
    def shipped(cls) -> Grammar:
        """The grammar that comes with the program."""
        return cls.from_toml(_SHIPPED.read_text("utf-8"))

    def learned(self, order: Mapping[str, Any]) -> Grammar:
        """The same with what was learned of matches: ``follow`` and ``mean_s`` of all states."""
        follow = np.array(order["follow"], np.float64)
        with np.errstate(divide="ignore"):
            model = replace(
                self.model,
                mean_s=np.array(order["mean_s"], np.float64),
                log_follow=np.log(follow / follow.sum(axis=1, keepdims=True)),
            )
        return replace(self, model=model)

    @classmethod
    def from_toml(cls, text: str) -> Grammar:
        """Read a grammar.

        Raises
        ------
        OwnFailureError
            When a position is missing, misspelt or cannot be left.
        """
        try:
            return _built(tomllib.loads(text))
        except (KeyError, ValueError, TypeError) as error:
            raise OwnFailureError(f"grammar of positions: {error}; restore the file.") from error


def _built(data: Mapping[str, Any]) -> Grammar:
    if data["format"] != FORMAT:
        raise ValueError(f"format {data['format']} is not {FORMAT}")
    positions: Mapping[str, Mapping[str, Any]] = data["positions"]
    unknown = set(positions) ^ {str(position) for position in Position}
    if unknown:
        raise ValueError(f"positions missing or misspelt: {sorted(unknown)}")
    weight = np.zeros((len(STATES), len(STATES)))
    for row, state in enumerate(STATES):
        for relation in _RELATIONS:
            for often, names in positions[state.position].get(relation, {}).items():
                for column in _columns(state, relation, names):
                    weight[row, column] = data["weights"][often]
    np.fill_diagonal(weight, 0.0)
    scramble = STATES.index(State(Position.SCRAMBLE))
    share = float(data["scramble"]["share"])
    others = np.arange(len(STATES)) != scramble
    weight[others, scramble] = weight[others].sum(axis=1) * share / (1.0 - share)
    start = np.array([positions[s.position].get("start_weight", 1.0) for s in STATES])
    with np.errstate(divide="ignore"):
        model = SegmentModel(
            np.array([float(positions[s.position]["shortest_s"]) for s in STATES]),
            np.array([float(positions[s.position]["further_s"]) for s in STATES]),
            np.log(start / start.sum()),
            np.log(weight / weight.sum(axis=1, keepdims=True)),
        )
    return Grammar(model, EvidenceRule(**data["evidence"]))


def _columns(state: State, relation: str, names: list[str]) -> list[int]:
    """Indices of the states that ``names`` stand for, seen from ``state``."""
    found = []
    for index, target in enumerate(STATES):
        if target.position not in {Position(name) for name in names}:
            continue
        if relation == "neither":
            fits = target.upper is None
        elif relation == "either":
            fits = target.upper is not None and state.upper is None
        else:
            fits = target.upper is not None and state.upper is not None
            fits = fits and (target.upper is state.upper) == (relation == "same")
        if fits:
            found.append(index)
    return found

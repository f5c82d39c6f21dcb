"""The model in time: what a whole film says at every instant of states, criteria and events."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from posescore.errors import MissingPartError
from posescore.holds.decoding.grammar import Grammar
from posescore.holds.film.features import Features, features_of, mirrored_features
from posescore.holds.film.instants import INSTANT_S, instants_of
from posescore.holds.film.outputs import CRITERIA, MIRRORED_CRITERIA
from posescore.holds.film.reading import Calibration, FilmReading
from posescore.pose.estimators.session import opened_network
from posescore.pose.track import PairTrack
from posescore.resources import shipped
from posescore.terms import STATES, Floats, Step

MODEL_NAME: Final = "time_model.onnx"
FORMAT: Final = 1
METADATA: Final = "posescore"
OUTPUTS: Final = ("states", "criteria", "ways", "given_up")
CONTEXT: Final = 62
"""Instants on either side that an answer depends on, six seconds."""
BLOCK: Final = 256
"""Instants at a time, besides their context: memory stays the same for any length."""


@dataclass(frozen=True, slots=True, eq=False)
class TimeModel:
    """One network in onnxruntime, with what calibrates its answers.

    Exchanging A and B exactly exchanges the sides of the result; mirroring, moving or scaling the
    picture changes nothing.
    """

    session: Any
    about: Mapping[str, Any]
    sha256: str

    @classmethod
    def load(cls, path: Path | None = None) -> TimeModel:
        """Read the shipped model, or that of a path.

        Raises
        ------
        MissingPartError
            When the file or the runtime is missing or cannot be used.
        """
        return _loaded(shipped("models", MODEL_NAME) if path is None else path)

    @property
    def step(self) -> Step:
        """Name, settings and hash, for the provenance of what this makes."""
        return Step("holds.film", {"instant_s": INSTANT_S}, {MODEL_NAME: self.sha256})

    def read(self, track: PairTrack) -> FilmReading:
        """What the film says; instants of :data:`posescore.holds.film.instants.INSTANT_S`."""
        film = instants_of(track)
        calibration = Calibration.from_json(self.about["calibration"])
        raw = self.answers(features_of(film))
        grammar = Grammar.shipped().learned(self.about["order"])
        return FilmReading.calibrated(film, raw, calibration, grammar, self.step)

    def answers(self, features: Features) -> dict[str, Floats]:
        """Raw answers by output, mean of the film and its mirror image; first axis instants."""
        one, other = self._run(features), self._run(mirrored_features(features))
        other["criteria"] = other["criteria"][:, :, list(MIRRORED_CRITERIA)]
        return {name: (one[name] + other[name]) / 2 for name in OUTPUTS}

    def _run(self, features: Features) -> dict[str, Floats]:
        parts: list[list[NDArray[np.float32]]] = []
        for first in range(0, len(features), BLOCK):
            low, high = max(0, first - CONTEXT), min(len(features), first + BLOCK + CONTEXT)
            given = {"poses": features.poses[low:high], "motion": features.motion[low:high]}
            kept = slice(first - low, min(first + BLOCK, len(features)) - low)
            parts.append([out[kept] for out in self.session.run(list(OUTPUTS), given)])
        if not parts:
            shapes = ((0, len(STATES)), (0, 2, len(CRITERIA), 2), (0, 6), (0, 2, 2))
            return {n: np.zeros(s) for n, s in zip(OUTPUTS, shapes, strict=True)}
        return {
            name: np.concatenate([part[k] for part in parts]).astype(np.float64)
            for k, name in enumerate(OUTPUTS)
        }


@cache
def _loaded(path: Path) -> TimeModel:
    session, sha256, _ = opened_network(path, 1)
    about = json.loads(session.get_modelmeta().custom_metadata_map.get(METADATA, "{}"))
    if about.get("format") != FORMAT or about["states"] != [str(state) for state in STATES]:
        raise MissingPartError(f"{path} is of another version: install PoseScore again.")
    return TimeModel(session, about, sha256)

"""How likely every state is, from the keypoints of both athletes."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from posescore.pose.track import PairTrack
from posescore.position.features import features
from posescore.position.model_file import read_model
from posescore.position.network import SymmetricNetwork, mean_of, softmax
from posescore.position.probabilities import PositionProbabilities
from posescore.resources import shipped
from posescore.terms import STATES, Step

MODEL_NAME: Final = "position_classifier.skops"
INSTANTS_PER_S: Final = 10.0
"""How often a track is classified. Positions last seconds; in between, probabilities change in a
straight line, so the result hardly depends on the frame rate and costs the same at any."""


@dataclass(frozen=True, slots=True, eq=False)
class Calibration:
    """``softmax(slope * log p + offset)``: fitted on examples that a member never learned from."""

    slope: float
    offset: NDArray[np.float64]

    def __call__(self, probability: NDArray[np.float64]) -> NDArray[np.float64]:
        """Calibrated rows ``(n, n_states)``."""
        return softmax(self.slope * np.log(np.maximum(probability, 1e-9)) + self.offset)


@dataclass(frozen=True, slots=True, eq=False)
class PositionClassifier:
    """Members of an ensemble, each ignorant of one fold of the pose set, and their calibration.

    Exchanging A and B exactly exchanges the sides of the result; mirroring, moving or scaling
    the picture changes nothing.

    Parameters
    ----------
    members
        One network or more for each fold, round by round and in each fold by fold.
    calibration
        From the members' mean to probabilities that hold.
    fold_calibrations
        For each fold the same, fitted without that fold: what it is measured with.
    nobody
        ``(n_states,)`` the distribution where no keypoint is known.
    held_back_entries
        For each fold the entries of the pose set that its networks never learned from.
    training
        What the file says of its making.
    sha256
        Hash of the file.
    """

    members: tuple[SymmetricNetwork, ...]
    calibration: Calibration
    fold_calibrations: tuple[Calibration, ...]
    nobody: NDArray[np.float64]
    held_back_entries: tuple[NDArray[np.int64], ...]
    training: dict[str, Any]
    sha256: str

    @classmethod
    def load(cls, path: Path | str | None = None) -> PositionClassifier:
        """Read the shipped classifier, or that of a path.

        Raises
        ------
        MissingPartError
            When the file is absent or cannot be used.
        """
        source = shipped("models", MODEL_NAME) if path is None else Path(path)
        contents = read_model(source)
        calibrations = tuple(map(Calibration, contents["slope"], contents["offset"]))
        return cls(
            members=tuple(SymmetricNetwork.of_pipeline(m) for m in contents["members"]),
            calibration=calibrations[0],
            fold_calibrations=calibrations[1:],
            nobody=contents["nobody"],
            held_back_entries=tuple(contents["held_back_entries"]),
            training=contents["training"],
            sha256=hashlib.sha256(source.read_bytes()).hexdigest(),
        )

    @property
    def step(self) -> Step:
        """Name, settings and hash, for the provenance of what this makes."""
        return Step(
            "position.classify",
            {"instants_per_s": INSTANTS_PER_S, "members": len(self.members)},
            {MODEL_NAME: self.sha256},
        )

    def of_keypoints(
        self, keypoints_px: NDArray[np.float32], confidence: NDArray[np.float32]
    ) -> NDArray[np.float64]:
        """Probabilities ``(n, n_states)`` of keypoints ``(n, 2, 17 or 21, 2)``; rows sum to 1.

        Every picture is judged alone. Where no keypoint is known the row is ``nobody``.
        """
        probability = self.of_features(features(keypoints_px, confidence))
        known = np.isfinite(keypoints_px).all(-1).reshape(len(keypoints_px), -1).any(1)
        probability[~known] = self.nobody
        return probability

    def of_features(
        self, rows: NDArray[np.float32], ignorant_of_fold: int | None = None
    ) -> NDArray[np.float64]:
        """Probabilities ``(n, n_states)`` of features, by all networks or one fold's."""
        if not len(rows):
            return np.empty((0, len(STATES)))
        if ignorant_of_fold is None:
            return self.calibration(mean_of(self.members, rows))
        chosen = self.members[ignorant_of_fold :: len(self.held_back_entries)]
        return self.fold_calibrations[ignorant_of_fold](mean_of(chosen, rows))

    def probabilities(self, track: PairTrack) -> PositionProbabilities:
        """One distribution for every frame of a track.

        At most :data:`INSTANTS_PER_S` frames a second are classified, the first and the last
        always; between them probabilities change in a straight line of time.
        """
        time_s = track.time_s
        if not len(time_s):
            nothing = np.empty((0, len(STATES)))
            provenance = track.provenance.then(self.step)
            return PositionProbabilities(nothing, time_s, track.end_s, provenance)
        chosen = _instants(time_s)
        judged = self.of_keypoints(track.keypoints_px[chosen], track.keypoint_confidence[chosen])
        probability = _in_between(time_s, time_s[chosen], judged)
        return PositionProbabilities(
            probability, time_s, track.end_s, track.provenance.then(self.step)
        )


def _instants(time_s: NDArray[np.float64]) -> NDArray[np.int64]:
    """Frames nearest to a grid of instants, ``INSTANTS_PER_S`` a second; first and last too."""
    slot = np.floor((time_s - time_s[0]) * INSTANTS_PER_S + 1e-6)
    first = np.flatnonzero(np.diff(slot, prepend=-1.0) > 0)
    return np.unique(np.append(first, len(time_s) - 1))


def _in_between(
    time_s: NDArray[np.float64], at_s: NDArray[np.float64], judged: NDArray[np.float64]
) -> NDArray[np.float64]:
    if len(at_s) < 2:
        return np.repeat(judged, len(time_s), axis=0)
    after = np.clip(np.searchsorted(at_s, time_s, side="right"), 1, len(at_s) - 1)
    span = at_s[after] - at_s[after - 1]
    part = np.clip((time_s - at_s[after - 1]) / span, 0, 1)[:, None]
    return np.asarray((1 - part) * judged[after - 1] + part * judged[after])

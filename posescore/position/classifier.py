"""How likely every state is, from the keypoints of both athletes."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Final, TypeVar

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import ThreadpoolController

from posescore.position.model_file import read_model
from posescore.position.network import PairNetwork, log_softmax, softmax
from posescore.position.normalise import given, mirrored_picture
from posescore.resources import shipped
from posescore.terms import STATES, Step

T = TypeVar("T")
MODEL_NAME: Final = "position_classifier.skops"
EVERY: Final = 4
"""One instant of so many of a film is classified."""


@dataclass(frozen=True, slots=True, eq=False)
class Calibration:
    """``softmax(slope * log p + offset)``: fitted on examples that a network never learned from."""

    slope: float
    offset: NDArray[np.float64]

    def __call__(self, logs: NDArray[np.float64]) -> NDArray[np.float64]:
        """Calibrated rows ``(n, n_states)`` of logarithms of probabilities."""
        return softmax(self.slope * logs + self.offset)


def logs_of(
    networks: Sequence[PairNetwork],
    keypoints_px: NDArray[np.float32],
    confidence: NDArray[np.float32],
    sides: int = 2,
) -> NDArray[np.float64]:
    """Logarithms ``(n, n_states)`` of the geometric mean of what networks answer.

    They see the picture and, with two ``sides``, its mirror image. All is computed on one thread:
    the products are so small that threads wait for each other, on a busy machine ten times as
    long as they compute.
    """
    rows = given(keypoints_px, confidence)
    seen = [rows, mirrored_picture(rows)][:sides]
    with _threads().limit(limits=1, user_api="blas"):
        logs = [log_softmax(network.logits(side)) for network in networks for side in seen]
    return np.asarray(np.mean(logs, axis=0))


@cache
def _threads() -> ThreadpoolController:
    return ThreadpoolController()


def of_fold(networks: Sequence[T], fold: int, n_folds: int) -> Sequence[T]:
    """Those of every round that never learned from a fold, or (fold ``n_folds``) left none out."""
    return networks[fold :: n_folds + 1]


@dataclass(frozen=True, slots=True, eq=False)
class PositionClassifier:
    """Networks that look at keypoints, each ignorant of one fold of the pose set; a calibration.

    They come in rounds (:mod:`posescore.position.network`); networks of two rounds err
    differently, and the geometric mean of both is better than either. Exchanging A and B exactly
    exchanges the sides of the result; mirroring, moving or scaling the picture changes nothing.

    Parameters
    ----------
    networks
        Round by round: in each one for each fold, and a last one that learned from all.
    calibration
        From the networks' mean to probabilities that hold.
    fold_calibrations
        For each fold the same, fitted without that fold: what it is measured with.
    pass_calibrations
        Both again for keypoints that the pose pass gives, first that of all.
    nobody
        ``(n_states,)`` the distribution where no keypoint is known.
    held_back_entries
        For each fold the entries of the pose set that its networks never learned from.
    training
        What the file says of its making.
    sha256
        Hash of the file.
    """

    networks: tuple[PairNetwork, ...]
    calibration: Calibration
    fold_calibrations: tuple[Calibration, ...]
    pass_calibrations: tuple[Calibration, ...]
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
        of_pass = map(Calibration, contents["pass_slope"], contents["pass_offset"])
        return cls(
            networks=tuple(PairNetwork.of_weights(w) for w in contents["networks"]),
            calibration=calibrations[0],
            fold_calibrations=calibrations[1:],
            pass_calibrations=tuple(of_pass),
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
            {"every": EVERY, "networks": len(self.networks)},
            {MODEL_NAME: self.sha256},
        )

    def of_keypoints(
        self,
        keypoints_px: NDArray[np.float32],
        confidence: NDArray[np.float32],
        ignorant_of_fold: int | None = None,
        *,
        of_pass: bool = False,
    ) -> NDArray[np.float64]:
        """Probabilities ``(n, n_states)`` of keypoints ``(n, 2, 17 or 21, 2)``; rows sum to 1.

        Every picture is judged alone, by all networks and from both mirror sides, or only by those
        that never learned from one fold; ``of_pass`` says that the pose pass gave the keypoints.
        Where no keypoint is known the row is ``nobody``.
        """
        if ignorant_of_fold is None:
            networks: Sequence[PairNetwork] = self.networks
            calibration = self.calibration
        else:
            networks = of_fold(self.networks, ignorant_of_fold, len(self.held_back_entries))
            calibration = self.fold_calibrations[ignorant_of_fold]
        if of_pass:
            number = 0 if ignorant_of_fold is None else 1 + ignorant_of_fold
            calibration = self.pass_calibrations[number]
        logs = logs_of(networks, keypoints_px, confidence)
        return self._known(calibration(logs), keypoints_px)

    def of_instants(
        self, keypoints_px: NDArray[np.float32], confidence: NDArray[np.float32]
    ) -> NDArray[np.float64]:
        """The same for even instants of a film, by those that learned from all.

        One instant of :data:`EVERY` is classified, the first and the last always; in between
        probabilities change in a straight line: neighbouring instants hardly differ.
        """
        count = len(keypoints_px)
        if not count:
            return np.empty((0, len(STATES)))
        chosen = np.unique(np.append(np.arange(0, count, EVERY), count - 1))
        points = keypoints_px[chosen]
        n_folds = len(self.held_back_entries)
        networks = of_fold(self.networks, n_folds, n_folds)
        logs = logs_of(networks, points, confidence[chosen])
        judged = self._known(self.pass_calibrations[0](logs), points)
        return _in_between(np.arange(count, dtype=np.float64), chosen.astype(np.float64), judged)

    def _known(
        self, probability: NDArray[np.float64], keypoints_px: NDArray[np.float32]
    ) -> NDArray[np.float64]:
        known = np.asarray(np.isfinite(keypoints_px).all(-1)).any((1, 2))
        probability[~known] = self.nobody
        return probability


def _in_between(
    time_s: NDArray[np.float64], at_s: NDArray[np.float64], judged: NDArray[np.float64]
) -> NDArray[np.float64]:
    if len(at_s) < 2:
        return np.repeat(judged, len(time_s), axis=0)
    after = np.clip(np.searchsorted(at_s, time_s, side="right"), 1, len(at_s) - 1)
    span = at_s[after] - at_s[after - 1]
    part = np.clip((time_s - at_s[after - 1]) / span, 0, 1)[:, None]
    return np.asarray((1 - part) * judged[after - 1] + part * judged[after])

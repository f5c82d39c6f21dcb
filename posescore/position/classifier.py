"""How likely every state is, from the keypoints of both athletes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from posescore.pose.estimators.session import opened_network
from posescore.position.network import PairNetworks, softmax
from posescore.resources import shipped
from posescore.terms import STATES, Step

MODEL_NAME: Final = "position_classifier.onnx"
FORMAT: Final = 4
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
    calibrations
        From the networks' mean to probabilities that hold. For each fold one that was fitted
        without it, which is what it is measured with; the last is fitted on all.
    pass_calibrations
        The same for keypoints that the pose pass gives.
    nobody
        ``(n_states,)`` the distribution where no keypoint is known.
    held_back_entries
        For each fold the entries of the pose set that its networks never learned from.
    training
        What the file says of its making.
    """

    networks: PairNetworks
    calibrations: tuple[Calibration, ...]
    pass_calibrations: tuple[Calibration, ...]
    nobody: NDArray[np.float64]
    held_back_entries: tuple[NDArray[np.int64], ...]
    training: Mapping[str, Any]
    sha256: str

    @classmethod
    def load(cls, path: Path | str | None = None) -> PositionClassifier:
        """Read the shipped classifier, or that of a path.

        Raises
        ------
        MissingPartError
            When the file or the runtime is absent or cannot be used.
        """
        source = shipped("models", MODEL_NAME) if path is None else Path(path)
        opened = opened_network(source, 1)
        about = opened.about(source, FORMAT)
        return cls(
            networks=PairNetworks(opened.session),
            calibrations=_calibrations(about["calibrations"]),
            pass_calibrations=_calibrations(about["pass_calibrations"]),
            nobody=np.array(about["nobody"]),
            held_back_entries=tuple(map(np.array, about["held_back_entries"])),
            training=about["training"],
            sha256=opened.sha256,
        )

    @property
    def n_folds(self) -> int:
        """How many folds the pose set was cut into; also the number of those that learned all."""
        return len(self.held_back_entries)

    @property
    def step(self) -> Step:
        """Name, settings and hash, for the provenance of what this makes."""
        return Step(
            "position.classify",
            {"every": EVERY},
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
        every = ignorant_of_fold is None
        fold = self.n_folds if ignorant_of_fold is None else ignorant_of_fold
        folds = range(self.n_folds + 1) if every else (fold,)
        logs = self.networks.log_probabilities(keypoints_px, confidence, folds)
        calibration = (self.pass_calibrations if of_pass else self.calibrations)[fold]
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
        logs = self.networks.log_probabilities(points, confidence[chosen], (self.n_folds,))
        judged = self._known(self.pass_calibrations[-1](logs), points)
        return _in_between(np.arange(count, dtype=np.float64), chosen.astype(np.float64), judged)

    def _known(
        self, probability: NDArray[np.float64], keypoints_px: NDArray[np.float32]
    ) -> NDArray[np.float64]:
        known = np.asarray(np.isfinite(keypoints_px).all(-1)).any((1, 2))
        probability[~known] = self.nobody
        return probability


def _calibrations(fits: Sequence[tuple[float, Sequence[float]]]) -> tuple[Calibration, ...]:
    return tuple(Calibration(slope, np.array(offset)) for slope, offset in fits)


def _in_between(
    time_s: NDArray[np.float64], at_s: NDArray[np.float64], judged: NDArray[np.float64]
) -> NDArray[np.float64]:
    if len(at_s) < 2:
        return np.repeat(judged, len(time_s), axis=0)
    after = np.clip(np.searchsorted(at_s, time_s, side="right"), 1, len(at_s) - 1)
    span = at_s[after] - at_s[after - 1]
    part = np.clip((time_s - at_s[after - 1]) / span, 0, 1)[:, None]
    return np.asarray((1 - part) * judged[after - 1] + part * judged[after])

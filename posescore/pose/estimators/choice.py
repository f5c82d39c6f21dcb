"""Which estimators a person can choose from, and the one that ships as usual."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from typing import Final

from posescore.errors import InputError
from posescore.pose.estimators.estimator import PairEstimator

USUAL: Final = "pair-network"
NAMES: Final = (USUAL, "mediapipe")


def chosen_estimator(name: str = USUAL, *, of_video: bool = False) -> PairEstimator:
    """The estimator of a name.

    Parameters
    ----------
    name
        One of :data:`NAMES`.
    of_video
        Frames are followed: where one leaves doubts the next ones help, and alternative crops are
        not tried. One who is hidden for a moment would be looked for in the whole picture, and the
        referee found instead.

    Raises
    ------
    InputError
        When there is none of that name.
    MissingPartError
        When its weights or a system library are missing.
    """
    if name not in NAMES:
        raise InputError(f"'{name}' is no estimator: choose one of {', '.join(NAMES)}.")
    if name == "mediapipe":
        from posescore.pose.estimators.mediapipe_estimator import MediaPipeEstimator

        return MediaPipeEstimator()
    from posescore.pose.estimators.pair_network import PairNetworkEstimator

    return PairNetworkEstimator(alternative_crops=not of_video)


@contextlib.contextmanager
def opened_estimator(
    estimator: PairEstimator | str, *, of_video: bool = False
) -> Iterator[PairEstimator]:
    """An estimator as it was given, or the one of a name, closed again afterwards."""
    if not isinstance(estimator, str):
        yield estimator
        return
    chosen = chosen_estimator(estimator, of_video=of_video)
    try:
        yield chosen
    finally:
        chosen.close()

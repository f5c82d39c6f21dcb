"""Which estimator ships."""

from __future__ import annotations

from posescore.pose.estimators.estimator import PairEstimator


def default_estimator(*, of_video: bool = False) -> PairEstimator:
    """The estimator the program uses when a person chooses none.

    Parameters
    ----------
    of_video
        Frames are followed: where one leaves doubts the next ones help, and other squares are not
        tried. One who is hidden for a moment would be looked for in the whole picture, and the
        referee found instead.

    Raises
    ------
    MissingPartError
        When its weights or a system library are missing.
    """
    from posescore.pose.estimators.fused_estimator import FusedEstimator
    from posescore.pose.estimators.pair_network import PairNetworkEstimator

    return FusedEstimator(PairNetworkEstimator(other_squares=not of_video))

"""Which estimator ships."""

from __future__ import annotations

from posescore.pose.estimator import PairEstimator


def default_estimator() -> PairEstimator:
    """The estimator the program uses when a person chooses none.

    Raises
    ------
    MissingPartError
        When its weights or a system library are missing.
    """
    from posescore.pose.fused_estimator import FusedEstimator

    return FusedEstimator()

"""Changes of identity are counted once each, and known to be reported or not."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from posescore.evaluation.swaps import REPORT_S, count_swaps
from posescore.pose.track import Finding, FindingKind
from posescore.terms import Interval

TIME_S = np.arange(0, 12, 0.1)


def lead_of(*changes_s: float) -> np.ndarray:
    """1 or -1, changing sign at the given instants."""
    return (-1.0) ** np.searchsorted(np.array(changes_s), TIME_S + 1e-9, side="right")


def finding(kind: FindingKind, start_s: float, end_s: float) -> Finding:
    return Finding(kind, Interval(start_s, end_s), 0.5, "Something.")


def test_a_swap_and_its_undoing_are_two_changes() -> None:
    swaps = count_swaps(TIME_S, lead_of(3.0, 7.0), [])
    assert swaps.at_s == pytest.approx((3.0, 7.0))
    assert swaps.unreported == 2
    assert swaps.per_minute == pytest.approx(2 / (11.9 / 60))
    assert "not reported" in str(swaps)


def test_a_slip_of_a_moment_is_none() -> None:
    assert count_swaps(TIME_S, lead_of(3.0, 3.2), []).at_s == ()


def test_frames_that_cannot_tell_change_nothing() -> None:
    lead = lead_of(6.0)
    lead[40:80] = 0.1
    assert count_swaps(TIME_S, lead, []).at_s == pytest.approx((8.0,))
    assert count_swaps(TIME_S, 0 * lead, []).at_s == ()


def test_only_a_finding_about_identity_that_is_near_reports_a_change() -> None:
    lead = lead_of(6.0)
    near = finding(FindingKind.POSSIBLE_SWAP, 5.0, 5.9)
    far = finding(FindingKind.POSSIBLE_SWAP, 1.0, 6.0 - REPORT_S - 0.2)
    cut = finding(FindingKind.CUT, 6.0, 6.0)
    assert count_swaps(TIME_S, lead, [near]).unreported == 0
    assert count_swaps(TIME_S, lead, [far, cut]).unreported == 1
    assert count_swaps(TIME_S, lead).unreported is None
    assert "reported" not in str(count_swaps(TIME_S, lead))


@given(st.lists(st.integers(4, 20), max_size=6))
def test_every_lasting_change_is_counted(gaps: list[int]) -> None:
    changes_s = np.cumsum(gaps) * 0.1
    inside = [c for c in changes_s if c < TIME_S[-1] - 0.35]
    assert len(count_swaps(TIME_S, lead_of(*inside), []).at_s) == len(inside)


def test_nothing_labelled_is_no_swap() -> None:
    assert count_swaps(np.array([]), np.array([]), []).per_minute == 0

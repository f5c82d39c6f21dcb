"""Remembered proposals are found again among recomputed ones, and have keys of their own."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from posescore.library.review.matching import keys_of, paired, proposal_key
from posescore.scoring.proposal import Proposal, ProposalKind
from posescore.terms import Athlete, Interval
from tests.library.samples import A, B


def proposal(
    time_s: float,
    kind: ProposalKind = ProposalKind.MOUNT,
    athlete: Athlete = A,
    would_be: ProposalKind | None = None,
) -> Proposal:
    evidence = Interval(time_s - 3.0, time_s)
    return Proposal(time_s, athlete, kind, 4, 0, "4.4.1", "", 1.0, evidence, would_be)


def test_the_same_award_twice_is_told_apart_by_time() -> None:
    remembered = {"one": proposal(10.0), "two": proposal(20.0)}
    assert paired(remembered, [proposal(10.6), proposal(19.5)]) == {0: "one", 1: "two"}
    assert paired(remembered, [proposal(20.9)]) == {0: "two"}
    assert paired(remembered, [proposal(15.0), proposal(10.0, athlete=B)]) == {}


def test_the_same_kind_goes_before_what_nearly_was_it() -> None:
    near = proposal(12.0, ProposalKind.NEAR, would_be=ProposalKind.MOUNT)
    assert paired({"one": proposal(13.0)}, [near, proposal(14.5)]) == {1: "one"}
    assert paired({"one": proposal(13.0)}, [near]) == {0: "one"}


@given(st.lists(st.builds(proposal, st.floats(3, 40)), max_size=12))
def test_keys_are_never_shared_and_found_again(proposals: list[Proposal]) -> None:
    keys = keys_of(proposals, {})
    assert len(set(keys)) == len(keys)
    remembered = dict(zip(keys, proposals, strict=True))
    again = paired(remembered, proposals)
    assert sorted(again.values()) == sorted(keys)
    assert all(proposals[i].time_s == remembered[key].time_s for i, key in again.items())


def test_a_key_names_topic_athlete_and_instant() -> None:
    near = proposal(12.5, ProposalKind.NEAR, would_be=ProposalKind.MOUNT)
    assert proposal_key(near) == "mount-A-12500"

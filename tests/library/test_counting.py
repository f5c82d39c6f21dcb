"""What counts: up to the end of the match, people's own marks at once, decisions with proposals."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from posescore.holds.event import EventName, MatchEvent
from posescore.library.library import Library
from posescore.library.review.edits import (
    AddAward,
    AddEvent,
    Confirm,
    Dismiss,
    Reopen,
    SetDivision,
    Settle,
    Taken,
)
from posescore.library.review.review import Review, ReviewItem
from posescore.scoring.match_clock import HAND_S, EndedBy
from posescore.scoring.proposal import ProposalKind
from posescore.terms import Athlete
from tests.library.samples import EVENTS, INFO, analysis

A, B = Athlete.A, Athlete.B


@pytest.fixture
def library(tmp_path: Path) -> Iterator[Library]:
    with Library(tmp_path / "library") as library:
        library.add_match(INFO)
        library.save_analysis(1, analysis())
        yield library


def item(review: Review, kind: ProposalKind) -> ReviewItem:
    return next(each for each in review.items if each.shown.kind is kind)


def test_nothing_behind_a_tap_counts_whoever_let_it_stand(library: Library) -> None:
    """Common practice: a submission ends a match at once, whatever the points."""
    library.edit(1, Confirm(item(library.review(1), ProposalKind.MOUNT).key), "Ann")
    before = library.review(1)
    assert before.confirmed_score[A].points == 4
    tapped = library.edit(1, AddEvent(EventName.TAP, 20.0, B), "Ann")
    assert tapped.end is not None
    assert (tapped.end.time_s, tapped.end.by) == (20.0, EndedBy.TAP)
    assert tapped.confirmed_score[A].points == 0
    assert [each.shown.kind for each in tapped.behind_end] == [ProposalKind.MOUNT]
    added = library.edit(1, AddAward(A, ProposalKind.SWEEP, 25.0, 2), "Ben")
    assert added.confirmed_score[A].points == 0
    do = AddAward(A, ProposalKind.SWEEP, 26.0, 2).to_json()
    settled = library.edit(1, Settle("", "Cleo", Taken.OTHER, line="x", do=do), "Ann")
    assert settled.confirmed_score[A].points == 0
    assert len(settled.behind_end) == 3
    assert library.undo(1, "Ann").end == tapped.end


@pytest.mark.parametrize(
    ("event", "by"), [(EventName.END, EndedBy.MARKED), (EventName.TAP, EndedBy.TAP)]
)
def test_an_end_is_told_with_what_ended_it(library: Library, event: EventName, by: EndedBy) -> None:
    assert library.review(1).end is None, "the footage alone ends no match"
    athlete = None if event is EventName.END else A
    ended = library.edit(1, AddEvent(event, 40.0, athlete), "Ann")
    assert ended.end is not None
    assert ended.end.by is by
    assert ended.end_s == 40.0


def test_a_fourth_penalty_ends_the_match(library: Library) -> None:
    """Restated from the penalty ladder of the rule set: the fourth disqualifies."""
    for time_s in (10.0, 11.0, 12.0, 13.0):
        library.edit(1, AddAward(B, ProposalKind.PENALTY, time_s), "Ann")
    review = library.edit(1, AddAward(A, ProposalKind.SWEEP, 30.0, 2), "Ann")
    assert review.end is not None
    assert (review.end.time_s, review.end.by) == (13.0, EndedBy.DISQUALIFICATION)
    assert [each.shown.kind for each in review.behind_end] == [ProposalKind.SWEEP]
    assert review.confirmed_result is not None
    assert (review.confirmed_result.winner, review.confirmed_result.by) == (A, "disqualification")


def test_time_ends_a_match_whose_start_was_marked(tmp_path: Path) -> None:
    """A class of two minutes (match times of the rule set); a clock that stood runs longer."""
    with Library(tmp_path) as library:
        library.add_match(INFO)
        library.save_analysis(1, analysis(n_frames=30 * 200))
        late = AddAward(A, ProposalKind.SWEEP, 150.0, 2)
        assert library.edit(1, late, "Ann").confirmed_score[A].points == 2
        times = library.review(1).rule_set.match_times
        age = next(name for name, minutes in times.minutes.items() if minutes == 2)
        review = library.edit(1, SetDivision({"age": age}), "Ann")
        assert review.end is not None
        assert (review.end.time_s, review.end.by) == (120.0 + HAND_S, EndedBy.TIME)
        assert review.confirmed_score[A].points == 0
        stopped = library.edit(1, AddEvent(EventName.STOP, 60.0), "Ann")
        stopped = library.edit(1, AddEvent(EventName.START, 100.0), "Ann")
        assert stopped.end is not None
        assert stopped.end.time_s == 160.0 + HAND_S
        assert stopped.confirmed_score[A].points == 2


def test_without_a_marked_start_no_time_runs_out(tmp_path: Path) -> None:
    with Library(tmp_path) as library:
        library.add_match(INFO)
        events = tuple(event for event in EVENTS if event.event is not EventName.START)
        library.save_analysis(1, analysis(events=events, n_frames=30 * 400))
        assert library.review(1).end is None


def test_ones_own_mark_is_ones_word_until_it_is_opened_again(library: Library) -> None:
    marked = library.edit(1, AddEvent(EventName.ADVANTAGE, 20.0, B), "Ann")
    line = next(each for each in marked.items if each.shown.time_s == 20.0)
    assert line.decision is not None
    assert (line.decision.author, line.decision.by_mark, line.status) == ("Ann", True, "confirmed")
    assert marked.confirmed_score[B].advantages == 1
    opened = library.edit(1, Reopen(line.key), "Ben")
    assert opened.confirmed_score[B].advantages == 0
    assert library.edit(1, Dismiss(line.key, "no"), "Ben").confirmed_score[B].advantages == 0
    inferred = next(each for each in marked.items if each.shown.kind is ProposalKind.PENALTY)
    assert inferred.decision is None, "what the program marked waits for a person"


def test_what_would_stand_takes_in_what_people_decided(library: Library) -> None:
    before = library.review(1).proposed_score[A].points
    gone = item(library.review(1), ProposalKind.MOUNT)
    library.edit(1, Dismiss(gone.key, "a leg was caught"), "Ann")
    after = library.edit(1, AddAward(A, ProposalKind.SWEEP, 20.0, 2), "Ann")
    assert after.proposed_score[A].points == before - gone.shown.points + 2


def test_marks_of_an_analysis_are_nobody_s_word(tmp_path: Path) -> None:
    with Library(tmp_path) as library:
        library.add_match(INFO)
        events = (MatchEvent(20.0, EventName.ADVANTAGE, A, 0.7),)
        library.save_analysis(1, analysis(events=events))
        assert len(library.review(1).undecided) == len(library.review(1).items)

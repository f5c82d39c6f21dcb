from __future__ import annotations

import re

import pytest

from posescore.export.asks import ASKS, asks_of, sources_of
from posescore.export.evidence import (
    PERSONS_ANSWER,
    answer_of,
    deciding,
    events_on_the_way,
    hold_shown,
    look_at,
    path_of,
    stills_of,
    sureness_of,
)
from posescore.holds.event import EventName
from posescore.library.library import Library
from posescore.library.match import Match
from posescore.library.review.edits import AddAward, SetCheck
from posescore.scoring.proposal import Criterion, ProposalKind
from posescore.scoring.rules import RuleSet
from posescore.terms import Athlete, Position

Kept = tuple[Library, Match]


def test_stills_show_the_start_the_third_second_and_the_end(filmed: Kept) -> None:
    library, match = filmed
    review = library.review(match.id)
    for item in review.items:
        shown, stills = item.shown, stills_of(item, review)
        assert 1 <= len(stills) <= 3
        assert [still.frame_index for still in stills] == sorted(
            {still.frame_index for still in stills}
        )
        for still in stills:
            assert still.time_s == review.clock.time_s(still.frame_index)
        if shown.points:
            held = hold_shown(shown, review.holds)
            assert held is not None
            begins_s = max(shown.evidence.start_s, held.hold.start_s)
            assert stills[0].frame_index == review.clock.frame_index(begins_s + 1e-6)
            # Rule book 3.1: what counts is the third second.
            third = review.clock.frame_index(shown.time_s + 1e-6)
            assert stills[1].frame_index == third
            assert stills[-1].time_s < held.hold.end_s


def test_the_path_is_found_among_the_holds_in_order(filmed: Kept) -> None:
    library, match = filmed
    review = library.review(match.id)
    walked = [path_of(item.shown, review.holds) for item in review.items]
    assert any(len(path) > 1 for path in walked)
    for path in walked:
        assert all(step.position is not None for step in path)
        starts_s = [step.start_s for step in path if step.start_s is not None]
        assert starts_s == sorted(starts_s)
    known = {held.hold.start_s for held in review.holds}
    assert {step.start_s for path in walked for step in path} <= known | {None}


def test_no_points_names_the_criterion_that_decides(filmed: Kept) -> None:
    library, match = filmed
    for item in library.review(match.id).items:
        found = deciding(item.shown)
        if item.shown.kind in (ProposalKind.NONE, ProposalKind.NEAR):
            assert found is None or found.met is False
        else:
            assert found is None


def test_an_award_of_a_person_has_its_instant(filmed: Kept) -> None:
    library, match = filmed
    award = AddAward(Athlete.B, ProposalKind.SWEEP, 47.1, 2, reason="seen from the stand")
    review = library.edit(match.id, award, "Ben")
    item = next(item for item in review.items if item.added)
    assert stills_of(item, review)[0].time_s == pytest.approx(47.1, abs=0.3)
    assert path_of(item.shown, review.holds) == ()


def test_a_persons_answers_are_edits_that_the_library_takes(filmed: Kept) -> None:
    library, match = filmed
    review = library.review(match.id)
    hold = next(h for h in review.holds if h.hold.position is not Position.STANDING)
    for check, values in PERSONS_ANSWER.items():
        for value in values:
            assert SetCheck(hold.key, check, value).effect(review).stretch is not None
        assert answer_of(Criterion("asked", None, "", "", check=str(check))) == values
    assert answer_of(Criterion("asked", None, "", "")) is None


def test_every_award_of_the_published_rules_is_explained() -> None:
    unexplained = set(ProposalKind) - set(ASKS) - {ProposalKind.NEAR, ProposalKind.NONE}
    assert not unexplained
    assert asks_of(ProposalKind.MOUNT, "sport-jiu-jitsu")
    assert asks_of(ProposalKind.MOUNT, "rules-of-my-own.toml") == ""


def test_what_scored_is_looked_at_at_its_instant_and_what_did_not_in_its_position(
    filmed: Kept,
) -> None:
    library, match = filmed
    review = library.review(match.id)
    for item in review.items:
        shown, look = item.shown, look_at(item, review)
        if shown.points:
            assert look.frame_index == review.clock.frame_index(shown.time_s + 1e-6)
            continue
        held = hold_shown(shown, review.holds)
        assert held is not None
        assert held.hold.start_s <= look.time_s <= max(held.hold.end_s, shown.time_s)
        assert look.time_s <= shown.time_s


def test_nothing_is_surer_than_the_position_it_rests_on(filmed: Kept) -> None:
    library, match = filmed
    review = library.review(match.id)
    for item in review.items:
        held = hold_shown(item.shown, review.holds)
        assert held is not None
        for criterion in item.shown.criteria:
            sure = sureness_of(criterion, item.shown, held)
            if criterion.check or criterion.probability < 1.0:
                assert sure == criterion.probability  # a person's answer, or a judge of its own
            elif criterion.met:
                assert sure == held.hold.confidence < 1.0
            else:
                assert sure == item.shown.confidence < 1.0


def test_what_happened_on_the_way_is_told(filmed: Kept) -> None:
    library, match = filmed
    review = library.review(match.id)
    takedown = next(x.shown for x in review.items if x.shown.kind is ProposalKind.TAKEDOWN)
    path = path_of(takedown, review.holds)
    told = [each.event.event for each in events_on_the_way(takedown, path, review.events)]
    assert EventName.TAKEDOWN_ATTEMPT in told
    assert EventName.START not in told
    assert all(0.0 < (step.confidence or 0.0) <= 1.0 for step in path)


def test_marks_behind_a_clause_are_explained() -> None:
    rules = "sport-jiu-jitsu"
    shipped = RuleSet.load(rules)
    clauses = [*shipped.clauses.values()]
    marks = {mark for clause in clauses for mark in re.findall(r"\[\w+\]", clause)}
    assert {"[AJP]", "[mem]", "[practice]"} <= marks
    told = sources_of(clauses, rules)
    assert all(f"{mark} " in told for mark in marks)
    assert "6.1 (2024)" in told
    assert "[" not in sources_of(["4.1", "3.1"], rules)
    assert sources_of(clauses, "rules-of-my-own.toml") == ""

"""Analyses come back as they went; a new one never touches what a person said."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from posescore.errors import InputError, NotFoundError, StorageError
from posescore.footage.clock import FrameClock
from posescore.holds.hold import Hold
from posescore.library.library import Library
from posescore.library.match import Match
from posescore.library.review.edits import (
    AddAward,
    AddEvent,
    Confirm,
    Dismiss,
    Edge,
    Relabel,
    RemoveEvent,
    SetDivision,
    SetEdge,
    SetRules,
    SwapAthletes,
)
from posescore.library.review.stretches import hold_key
from posescore.library.store.storage import FILE_NAME
from posescore.scoring.proposal import ProposalKind
from posescore.terms import Interval, Position
from tests.library.samples import EVENTS, HOLDS, INFO, A, B, analysis

Kept = tuple[Library, Match]


def test_an_analysis_comes_back_as_it_went(kept: Kept) -> None:
    library, match = kept
    made = analysis()
    back = library.analysis(match.id)
    assert (back.holds, back.events, back.findings) == (
        made.holds,
        made.events,
        made.findings,
    )
    assert back.provenance == made.provenance
    assert back.version == match.analysis_version == 1
    assert back.track_path is not None
    assert back.track_path.read_bytes() == b"keypoints of a track"
    assert back.track_path.parent == match.folder


def test_an_uneven_clock_comes_back_to_the_last_bit(tmp_path: Path) -> None:
    steps_s = np.random.default_rng(3).uniform(1 / 61, 1 / 23, 999)
    clock = FrameClock(np.concatenate([[0.0], np.cumsum(steps_s)]), float(steps_s.sum()) + 0.04)
    with Library(tmp_path) as library:
        match = library.add_match(INFO)
        made = replace(analysis((), ()), clock=clock)
        back = library.save_analysis(match.id, made)
        assert (back.clock.pts_s == clock.pts_s).all()
        assert back.clock.end_s == clock.end_s


def test_a_match_without_an_analysis_says_so(tmp_path: Path) -> None:
    with Library(tmp_path) as library:
        match = library.add_match(INFO)
        for ask in (library.analysis, library.review):
            with pytest.raises(NotFoundError, match="no analysis"):
                ask(match.id)


def test_a_track_that_is_gone_is_one_sentence_and_adds_no_version(kept: Kept) -> None:
    library, match = kept
    with pytest.raises(StorageError, match="nowhere"):
        library.save_analysis(match.id, analysis(track=Path("/nowhere/track.parquet")))
    assert library.match(match.id).analysis_version == 1
    assert len(list(match.folder.iterdir())) == 1


def test_an_analysis_that_cannot_be_kept_leaves_no_files(kept: Kept, tmp_path: Path) -> None:
    library, match = kept
    before = sorted(match.folder.iterdir())
    track = tmp_path / "other.parquet"
    track.write_bytes(b"another track")
    wrong = replace(analysis(track=track), holds=(replace(HOLDS[0], confidence=float("nan")),))
    with pytest.raises(ValueError, match="JSON"):
        library.save_analysis(match.id, wrong)
    assert sorted(match.folder.iterdir()) == before
    assert library.match(match.id).analysis_version == 1


def entries_as_stored(library: Library) -> list[tuple[object, ...]]:
    with closing(sqlite3.connect(library.folder / FILE_NAME)) as database:
        return database.execute("SELECT * FROM entry ORDER BY id").fetchall()


def _say_things(library: Library, match: Match) -> None:
    review = library.review(match.id)
    mount = next(item for item in review.items if item.shown.kind is ProposalKind.MOUNT)
    library.edit(match.id, Confirm(mount.key), "Ann")
    first_open = library.review(match.id).undecided[0]
    library.edit(match.id, Dismiss(first_open.key, "no control at the landing"), "Ann")
    library.edit(match.id, SetEdge(hold_key(HOLDS[1]), Edge.START, 9.4), "Ben")
    library.edit(match.id, Relabel(hold_key(HOLDS[6]), Position.CLOSED_GUARD, B), "Ben")
    library.edit(match.id, AddEvent(EVENTS[2].event, 52.0, A), "Ben")
    penalty = next(x for x in library.review(match.id).events if x.event == EVENTS[2])
    library.edit(match.id, RemoveEvent(penalty.key), "Ann")
    library.edit(match.id, AddAward(B, ProposalKind.SWEEP, 47.5, 2), "Ann")
    library.undo(match.id, "Ann")
    library.redo(match.id, "Ann")


def test_analysing_again_leaves_every_word_of_a_person(kept: Kept, tmp_path: Path) -> None:
    library, match = kept
    _say_things(library, match)
    before, stored = library.review(match.id), entries_as_stored(library)
    shifted = tuple(
        replace(hold, start_s=hold.start_s + 0.2, end_s=hold.end_s + 0.2) for hold in HOLDS
    )
    events = (EVENTS[0], replace(EVENTS[2], time_s=50.3))
    track = tmp_path / "other.parquet"
    track.write_bytes(b"another track")
    again = library.save_analysis(match.id, analysis(shifted, events, track))
    assert again.version == 2
    assert entries_as_stored(library) == stored
    after = library.review(match.id)
    assert after.analysis_version == 2
    decided = {item.key: item.status for item in before.items if item.decision}
    assert {item.key: item.status for item in after.items if item.decision} == decided
    assert len(decided) == 4, "three decisions, and a mark of one's own, which needs no other"
    assert dict(after.confirmed_score) == dict(before.confirmed_score)
    for said in (held for held in before.holds if held.edited):
        assert said in after.holds, "what a person touched stands to the millisecond"
    assert [x.event.time_s for x in after.events if x.event.event is EVENTS[2].event] == [52.0]
    assert library.review(match.id, version=1).items == before.items


def test_a_swap_belongs_to_the_track_it_was_made_on(kept: Kept, tmp_path: Path) -> None:
    library, match = kept
    library.edit(match.id, SwapAthletes(36.5), "Ann")
    same = library.save_analysis(match.id, analysis(track=library.analysis(match.id).track_path))
    review = library.review(match.id)
    assert review.analysis_version == same.version == 2
    assert review.swaps == (Interval(36.5, 60.0),)
    track = tmp_path / "other.parquet"
    track.write_bytes(b"A and B kept apart")
    library.save_analysis(match.id, analysis(track=track))
    review = library.review(match.id)
    assert review.swaps == ()
    assert [aside.entry.kind for aside in review.set_aside] == ["swap_athletes"]
    assert [held.hold for held in review.holds] == list(HOLDS)


def test_another_rule_set_is_part_of_the_log(kept: Kept) -> None:
    library, match = kept
    assert (
        library.edit(match.id, SetRules("sport-jiu-jitsu-strict-mount"), "Ann").rules != INFO.rules
    )
    assert library.undo(match.id, "Ann").rules == INFO.rules
    entries = len(library.log(match.id))
    for edit in (SetRules("house-rules"), SetDivision({"age": "ancient"}), SetRules(INFO.rules)):
        with pytest.raises(InputError):
            library.edit(match.id, edit, "Ann")
    assert len(library.log(match.id)) == entries
    division = {"age": "master_2", "belt": "black"}
    assert library.edit(match.id, SetDivision(division), "Ann").division == division


def test_holds_survive_odd_numbers(tmp_path: Path) -> None:
    hold = Hold(0.1 + 0.2, 1e-9 + 7, Position.MOUNT, A, 1 / 3)
    with Library(tmp_path) as library:
        match = library.add_match(INFO)
        library.save_analysis(match.id, analysis((hold,), ()))
    with Library(tmp_path) as library:
        assert library.analysis(match.id).holds == (hold,)

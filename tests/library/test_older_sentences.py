"""A library kept before sentences had fields: analysed, decided on and settled by commit 5cfc50e.

``sentences_only.sql`` is its database (the rendered sample match, from its true keypoints), and
``sentences_only.json`` what that program exported of it.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from posescore.export.export import export_text
from posescore.export.rows import lines_of
from posescore.export.sentences import seen_words, why_of
from posescore.library.library import Library
from posescore.library.review.entries import Effect
from posescore.library.review.review import Verdict
from posescore.library.store.storage import FILE_NAME
from posescore.scoring.proposal import ProposalKind
from posescore.terms import Athlete, Position, State

BESIDE = Path(__file__).with_name("sentences_only.sql")
SAID: dict[str, Any] = json.loads(BESIDE.with_suffix(".json").read_text("utf-8"))
OPINIONS = ("", "Una", "Ida")


@pytest.fixture
def older(tmp_path: Path) -> Iterator[Library]:
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as database:
        database.executescript(BESIDE.read_text("utf-8"))
    with Library(tmp_path) as library:
        yield library


def without_clause(award: dict[str, Any] | None) -> dict[str, Any] | None:
    """Clauses carried marks of ours then; what they name is the same."""
    return award and {key: value for key, value in award.items() if key != "clause"}


@pytest.mark.parametrize("opinion", OPINIONS)
def test_every_decision_stands(older: Library, opinion: str) -> None:
    said = SAID[opinion or "shared"]
    now = json.loads(export_text(older, older.matches()[0].id, "json", opinion))
    # Since then a mark of one's own is confirmed by itself, and what is proposed counts beside what
    # people decided.
    for athlete, tally in said["score"]["confirmed"].items():
        for name in ("points", "advantages"):
            assert now["score"]["confirmed"][athlete][name] == tally[name]
    assert len(now["log"]) == len(said["log"])
    decided = sum(line["decision"] is not None for line in now["log"])
    own_marks = decided - sum(line["decision"] is not None for line in said["log"])
    assert now["undecided"] == said["undecided"] - own_marks
    for line, then in zip(now["log"], said["log"], strict=True):
        for name in ("key", "frame_index"):
            assert line[name] == then[name]
        assert (line["note"] or "").replace("-", " ") == (then["note"] or "").replace("-", " ")
        own_mark = then["decision"] is None and line["decision"] is not None
        assert own_mark or line["status"] == then["status"]
        assert (line["proposal"] is None) is (then["proposal"] is None)
        for name, value in (without_clause(then["proposal"]) or {}).items():
            assert line["proposal"][name] == value
        if then["decision"] is None:
            assert line["decision"] is None or line["key"].startswith("penalty-")
            continue
        assert without_clause(line["decision"].pop("award")) == without_clause(
            then["decision"].pop("award")
        )
        assert line["decision"] == then["decision"]
    if not opinion:
        assert now["holds"] == SAID["holds"], "positions, edges and what was seen of the checks"


def test_what_is_proposed_no_more_still_says_why(older: Library) -> None:
    match = older.matches()[0]
    lines = lines_of(older.review(match.id), match)
    vanished = [line for line in lines if line.item.vanished]
    assert {line.item.decision.verdict for line in vanished if line.item.decision} == {
        Verdict.CONFIRMED,
        Verdict.DISMISSED,
    }
    for line in vanished:
        seen = line.item.shown
        assert seen.path[0] in (
            State(Position.MOUNT, Athlete.A),
            State(Position.SIDE_CONTROL, Athlete.A),
        )
        assert why_of(line, match.info.names) == seen.why, "as it was kept"
        assert seen.why.startswith("A took ")
        assert all(seen_words(each, match.info.names) == each.seen for each in seen.criteria)


def test_what_people_wrote_is_nobodys_template(older: Library) -> None:
    match = older.matches()[0]
    lines = lines_of(older.review(match.id), match)
    (added,) = (line for line in lines if line.item.added)
    assert why_of(added, match.info.names) == "seen by A {B} C"
    dismissed = next(line for line in lines if line.status == "dismissed")
    assert dismissed.item.decision is not None
    assert dismissed.item.decision.reason == "the knee {A} never lifted, says B"
    for name in ("csv", "webvtt", "json"):
        assert "{A} never" in export_text(older, match.id, name)


def test_what_is_proposed_now_has_names_in_it(older: Library) -> None:
    match = older.matches()[0]
    lines = lines_of(older.review(match.id), match)
    swept = next(x for x in lines if x.item.shown.would_be is ProposalKind.SWEEP)
    assert why_of(swept, match.info.names).startswith(
        "Tadeu Varela came out on top of Ilmar Oksanen into open guard"
    )


def test_marks_of_older_clauses_reach_nobody() -> None:
    """Versions before wrote into a clause where it had been read: ``6 [mem]``."""
    criterion = {"name": "held", "met": True, "seen": "", "clause": "3 [practice], 4.4.1 [AJP]"}
    seen = {
        "time_s": 3.0, "athlete": "A", "kind": "mount", "points": 4, "advantage": 0,
        "clause": "6 [mem]", "why": "", "confidence": 0.8, "criteria": [criterion],
        "evidence": {"start_s": 0.0, "end_s": 3.0},
    }  # fmt: skip
    unmarked = Effect.from_json({"proposal": seen}).proposal
    assert unmarked is not None
    assert unmarked.clause == "6"
    assert [each.clause for each in unmarked.criteria] == ["3, 4.4.1"]

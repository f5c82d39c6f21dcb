"""Exports hold against outside readers: csv, jsonschema, an independent WebVTT parser, and us."""

from __future__ import annotations

import csv
import errno
import io
import json
import os
import random
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import webvtt
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator, FormatChecker, ValidationError

from posescore.errors import InputError, NotFoundError, StorageError
from posescore.export import export
from posescore.export.cues import escaped, timestamp
from posescore.export.rows import frame_at
from posescore.export.score_log import SCHEMA_PATH, log_data
from posescore.export.tables import FRAME_COLUMNS, HOLD_COLUMNS, LOG_COLUMNS, safe_cell
from posescore.footage.clock import FrameClock
from posescore.holds.event import EventName
from posescore.library.library import Library
from posescore.library.match import Match
from posescore.library.review.edits import (
    AddAward,
    AddEvent,
    Change,
    Confirm,
    Dismiss,
    RemoveHold,
    Taken,
)
from posescore.library.review.settling import settle_line
from posescore.library.review.stretches import hold_key
from posescore.scoring.log import log_from_json
from posescore.scoring.proposal import ProposalKind
from posescore.terms import Athlete
from tests.library.samples import HOLDS, INFO, A, B, library_with_match
from tests.library.test_random_edits import Model, one_step

Kept = tuple[Library, Match]
SCHEMA = json.loads(SCHEMA_PATH.read_text("utf-8"))
NASTY = '=1+1 <b>"Ann" & Ben</b>,\n\n--> 00:00 øß'


@pytest.fixture
def decided(tmp_path: Path) -> Iterator[Kept]:
    """A match with a line of every status, and words that try to break a format."""
    library, match = library_with_match(tmp_path / "library")
    with library:
        mount, guard_pass, takedown = (
            next(i.key for i in library.review(match.id).items if i.shown.kind is kind)
            for kind in (ProposalKind.MOUNT, ProposalKind.GUARD_PASS, ProposalKind.TAKEDOWN)
        )
        library.edit(match.id, Confirm(mount), "Ann")
        library.edit(match.id, Dismiss(guard_pass, NASTY), "@Ben")
        library.edit(match.id, Change(takedown, "the other fell", athlete=B), "Ann")
        library.edit(match.id, AddAward(B, ProposalKind.SWEEP, 47.1, 2, reason=NASTY), "Ann")
        library.edit(match.id, AddEvent(EventName.ADVANTAGE, 59.99, A), "Ann")
        library.edit(match.id, RemoveHold(hold_key(HOLDS[4])), "Ann")
        yield library, match


def table(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline="")))


# CSV ---------------------------------------------------------------------------------------------
def test_the_log_as_csv_says_who_decided_what(decided: Kept) -> None:
    library, match = decided
    text = export.export_text(library, match.id, "csv")
    rows = table(text)
    review = library.review(match.id)
    assert [row["status"] for row in rows] == [item.status for item in review.items]
    assert {"confirmed", "dismissed", "changed", "added", "proposed"} == {
        row["status"] for row in rows
    }
    for row in rows:
        proposed = row["status"] == "proposed"
        assert (row["awarded_points"] == "") is (row["decided_by"] == "") is proposed
        assert int(row["frame_index"]) == frame_at(review.clock, float(row["time_s"]))
    for athlete in Athlete:
        mine = [row for row in rows if row["athlete"] == athlete]
        awarded = sum(int(row["awarded_points"] or 0) for row in mine)
        assert awarded == review.confirmed_score[athlete].points
    vanished = next(row for row in rows if row["status"] == "confirmed")
    assert vanished["proposed_kind"] == ""
    assert "nothing is proposed here any more" in vanished["note"]


def test_csv_follows_rfc_4180(decided: Kept) -> None:
    library, match = decided
    written = {"csv": LOG_COLUMNS, "holds-csv": HOLD_COLUMNS, "frames-csv": FRAME_COLUMNS}
    for name, columns in written.items():
        text = export.export_text(library, match.id, name)
        assert text.endswith("\r\n")
        assert text.split("\r\n")[0] == ",".join(columns)
        rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))
        assert {len(row) for row in rows} == {len(columns)}
        assert len(rows) > 5


def test_every_frame_has_one_position(decided: Kept) -> None:
    library, match = decided
    review = library.review(match.id)
    rows = table(export.export_text(library, match.id, "frames-csv"))
    assert [int(row["frame_index"]) for row in rows] == [*range(len(review.clock))]
    seconds = {row["named_by"]: 0 for row in rows}
    for row in rows:
        at_s = review.clock.time_s(int(row["frame_index"]))
        assert float(row["time_s"]) == pytest.approx(at_s, abs=5e-4)
        held = [h for h in review.holds if h.hold.start_s <= at_s + 1e-6 < h.hold.end_s]
        if held:
            assert row["position"] == held[0].hold.position
            assert row["upper"] == (held[0].hold.upper or "")
            assert row["named_by"] == ("person" if held[0].edited else "program")
        else:
            assert (row["position"], row["confidence"]) == ("scramble", "")
        seconds[row["named_by"]] += 1
    assert seconds["program"] > 0


def test_settled_differences_are_in_the_log(decided: Kept) -> None:
    library, match = decided
    assert "settlements" not in json.loads(export.export_text(library, match.id, "json"))
    key = next(x.key for x in library.review(match.id).items if x.shown.points)
    library.edit(match.id, Confirm(key), "Una", "Una")
    library.edit(match.id, Dismiss(key, "too short"), "Ida", "Ida")
    settle_line(library, match.id, ("Una", "Ida"), key, Taken.OTHER, "Chief")
    data = json.loads(export.export_text(library, match.id, "json"))
    independent_check(data)
    (settled,) = data["settlements"]
    assert settled["between"] == ["Una", "Ida"]
    assert (settled["taken"], settled["line"], settled["by"]) == ("other", key, "Chief")
    assert settled["stretch"] is None
    with pytest.raises(ValidationError):
        independent_check(data | {"settlements": [settled | {"taken": "both"}]})


def test_no_cell_is_a_formula(decided: Kept) -> None:
    library, match = decided
    library.update_match(match.id, replace(INFO, title="=cmd|' /C calc'!A0"))
    text = export.export_text(library, match.id, "csv")
    cells = [cell for row in csv.reader(io.StringIO(text, newline="")) for cell in row]
    assert not [cell for cell in cells if cell.startswith(("=", "+", "-", "@", "\t", "\r", "\n"))]
    dismissed = next(row for row in table(text) if row["status"] == "dismissed")
    assert dismissed["reason"] == f"'{NASTY}"
    assert dismissed["decided_by"] == "'@Ben"


@given(st.text(max_size=8))
def test_a_cell_is_harmless_and_loses_nothing(text: str) -> None:
    cell = safe_cell(text)
    assert cell in (text, f"'{text}")
    assert not cell.lstrip(" ").startswith(("=", "+", "-", "@"))


# JSON --------------------------------------------------------------------------------------------
def independent_check(data: object) -> None:
    Draft202012Validator(SCHEMA, format_checker=FormatChecker()).validate(data)


def test_the_schema_is_a_schema_and_travels_with_the_package() -> None:
    Draft202012Validator.check_schema(SCHEMA)
    assert SCHEMA["properties"]["version"]["const"] == 1


def test_the_log_as_json_keeps_its_schema_and_reads_back(decided: Kept) -> None:
    library, match = decided
    data = json.loads(export.export_text(library, match.id, "json"))
    independent_check(data)
    review = library.review(match.id)
    assert data["score"]["confirmed"]["B"]["points"] == review.confirmed_score[B].points == 4
    assert data["undecided"] == len(review.undecided) > 0
    assert data["match"]["footage"]["file_name"] == "round two.mp4"
    assert "/films" not in json.dumps(data), "folders of this machine are nobody's business"
    given_log = log_from_json(data)
    assert given_log.ruling() == review.ruling
    for line, item in zip(data["log"], review.items, strict=True):
        assert line["key"] == item.key
        assert line["frame_index"] == frame_at(review.clock, line["time_s"])
        assert (line["decision"] is None) is (line["status"] == "proposed")


def test_random_reviews_keep_the_schema(tmp_path: Path) -> None:
    library, match = library_with_match(tmp_path)
    dice, model = random.Random(4), Model()
    with library:
        for step in range(120):
            one_step(library, match.id, model, dice)
            if step % 6 == 0:
                independent_check(log_data(library.review(match.id), match))
                cues_of(export.export_text(library, match.id, "webvtt"), tmp_path)


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("log", 0, "status"), "certain"),
        (("log", 0, "frame_index"), 1.5),
        (("holds", 0, "position"), "throne"),
        (("score", "confirmed"), {}),
        (("version",), 2),
        (("extra",), True),
    ],
)
def test_the_schema_refuses_what_is_no_log(
    decided: Kept, path: tuple[str | int, ...], value: object
) -> None:
    library, match = decided
    data: Any = log_data(library.review(match.id), match)
    inner = data
    for step in path[:-1]:
        inner = inner[step]
    inner[path[-1]] = value
    with pytest.raises(ValidationError, match=str(path[-1] if value is True else value)):
        independent_check(data)


def test_a_line_cannot_be_confirmed_by_nobody(decided: Kept) -> None:
    library, match = decided
    data = log_data(library.review(match.id), match)
    line = next(line for line in data["log"] if line["status"] == "proposed")
    line["status"] = "confirmed"
    with pytest.raises(ValidationError):
        independent_check(data)


# WebVTT ------------------------------------------------------------------------------------------
def cues_of(text: str, folder: Path) -> list[webvtt.Caption]:
    path = folder / "log.vtt"
    path.write_text(text, "utf-8")
    return list(webvtt.read(str(path)))


def test_cues_are_read_back_by_another_parser(decided: Kept, tmp_path: Path) -> None:
    library, match = decided
    review = library.review(match.id)
    cues = cues_of(export.export_text(library, match.id, "webvtt"), tmp_path)
    assert len(cues) == len(review.holds) + len(review.items)
    starts = [cue.start_in_seconds for cue in cues]
    assert starts == sorted(starts)
    by_name = {cue.identifier: cue for cue in cues}
    for number, held in enumerate(review.holds, 1):
        cue = by_name[f"hold {number}"]
        assert cue.start == timestamp(held.hold.start_s)
        assert cue.end == timestamp(held.hold.end_s)
    for number, item in enumerate(review.items, 1):
        cue = by_name[f"line {number}"]
        first = {"proposed": "Proposed, not confirmed"}.get(item.status, item.status.title())
        assert cue.text.startswith(first)
        assert f"frame {frame_at(review.clock, item.shown.time_s)}," in cue.text
        assert cue.end_in_seconds <= review.clock.end_s + 0.001
    dismissed = next(cue for cue in cues if cue.text.startswith("Dismissed"))
    assert "=1+1 &lt;b&gt;" in dismissed.raw_text or "=1+1 <b>" in dismissed.raw_text


@given(st.text(max_size=30))
def test_cue_text_is_one_line_without_markup(text: str) -> None:
    line = escaped(text)
    assert len(line.splitlines()) <= 1
    assert not {"<", ">"} & set(line)


@given(st.floats(0, 400_000))
def test_timestamps_are_the_nearest_millisecond(time_s: float) -> None:
    hours, minutes, seconds = timestamp(time_s).split(":")
    back_s = int(hours) * 3600 + int(minutes) * 60 + float(seconds)
    assert back_s == pytest.approx(time_s, abs=0.000501)
    assert float(seconds) < 60
    assert len(seconds) == 6


# Frames ------------------------------------------------------------------------------------------
@pytest.mark.parametrize("frames_per_s", [24.0, 30000 / 1001, 60.0])
def test_a_sum_of_seconds_is_still_its_frame(frames_per_s: float) -> None:
    clock = FrameClock.steady(3000, frames_per_s)
    held = round(3 * frames_per_s)
    for index in range(0, 2800, 7):
        time_s = clock.time_s(index) + held / frames_per_s
        assert frame_at(clock, time_s) == index + held


# Files -------------------------------------------------------------------------------------------
def test_a_file_is_written_whole_or_not_at_all(decided: Kept, tmp_path: Path) -> None:
    library, match = decided
    out = tmp_path / "log.json"
    assert export.export_match(library, match.id, "json", out) == out
    assert out.read_text("utf-8") == export.export_text(library, match.id, "json")
    before = out.read_bytes()
    with pytest.raises(InputError, match="pdf"):
        export.export_match(library, match.id, "pdf", out)
    with pytest.raises(NotFoundError):
        export.export_match(library, 99, "csv", out)
    assert out.read_bytes() == before
    with pytest.raises(InputError, match="folder"):
        export.export_match(library, match.id, "csv", tmp_path)
    with pytest.raises(StorageError, match="missing"):
        export.export_match(library, match.id, "csv", tmp_path / "missing" / "log.csv")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["library", "log.json"]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
def test_a_full_disk_leaves_the_file_that_was_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "log.csv"
    out.write_text("before")

    def full(handle: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr("posescore.footage.atomic.os.fsync", full)
    with pytest.raises(StorageError, match="the disk is full"):
        export.write_whole(out, b"x" * 100_000)
    assert out.read_text() == "before"
    assert [path.name for path in tmp_path.iterdir()] == ["log.csv"]


def test_every_format_is_told_apart_by_its_suffix_and_named() -> None:
    known = export.FORMATS.values()
    assert len({each.suffix for each in known}) == len({each.text for each in known}) == 7
    for each in known:
        assert each.media_type.split(";")[0] in ("text/csv", "text/vtt", "application/json")

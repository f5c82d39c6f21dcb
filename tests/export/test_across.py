"""An athlete across matches, counted by hand from what people confirmed."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from posescore.errors import InputError, NotFoundError
from posescore.export.across import COLUMNS, Across, across_csv, across_matches
from posescore.export.across_page import across_html, write_across
from posescore.holds.event import EventName, MatchEvent
from posescore.holds.hold import Hold
from posescore.library.library import Library
from posescore.library.match import AthleteInfo, Match
from posescore.library.review.edits import AddEvent, Confirm
from posescore.scoring.proposal import ProposalKind
from posescore.terms import Athlete, Position
from tests.library.samples import INFO, analysis

A, B = Athlete.A, Athlete.B
KINDS = ProposalKind
LATER = (
    Hold(0.0, 10.0, Position.STANDING),
    Hold(11.5, 18.0, Position.SIDE_CONTROL, A),
    Hold(19.0, 25.0, Position.CLOSED_GUARD, A),
    Hold(27.0, 35.0, Position.SIDE_CONTROL, A),
    Hold(36.0, 42.0, Position.MOUNT, A),
)
"""A takes B down past the guard, is caught in it again, passes and mounts."""


def confirm_all(library: Library, match: Match) -> None:
    for item in library.review(match.id).undecided:
        library.edit(match.id, Confirm(item.key), "Ann")


@pytest.fixture
def season(tmp_path: Path) -> Iterator[Library]:
    """Mira wins one match wholly confirmed, loses one, and one waits for a person."""
    with Library(tmp_path / "library") as library:
        won = library.add_match(INFO)
        library.save_analysis(won.id, analysis())
        confirm_all(library, won)
        library.edit(won.id, AddEvent(EventName.TAP, 59.0, B), "Ann")
        lost_info = replace(
            INFO, title="Final", athlete_a=AthleteInfo("Tove Lind"), event="Fjord Cup",
            athlete_b=AthleteInfo("  mira  OSTRAND "), held_on=date(2026, 6, 1),
        )  # fmt: skip
        lost = library.add_match(lost_info)
        events = (MatchEvent(10.2, EventName.TAKEDOWN_ATTEMPT, A, 0.9),)
        library.save_analysis(lost.id, analysis(LATER, events))
        confirm_all(library, lost)
        library.edit(lost.id, AddEvent(EventName.END, 59.0), "Ann")
        waits = library.add_match(replace(INFO, title="Third", held_on=None))
        library.save_analysis(waits.id, analysis())
        library.add_match(replace(INFO, title="Never analysed"))
        library.save_analysis(
            library.add_match(replace(INFO, athlete_a=AthleteInfo("Somebody"))).id, analysis()
        )
        yield library


@pytest.fixture
def mira(season: Library) -> Across:
    return across_matches(season, "Mira Ostrand")


def test_matches_and_results(mira: Across) -> None:
    told = [
        (line.title, line.athlete, line.points_for, line.points_against, line.result)
        for line in mira.matches
    ]
    assert told == [
        ("Third", A, 0, 0, "open"),
        ("Second round", A, 15, 0, "won"),
        ("Final", B, 0, 9, "lost"),
    ]
    assert mira.matches[0].undecided == 7
    assert mira.matches[2].opponent == "Tove Lind"


def test_a_clip_that_never_ended_is_neither_won_nor_lost(season: Library) -> None:
    season.undo(2, "Ann")  # the marked end of the final
    line = across_matches(season, "Mira Ostrand").matches[2]
    assert (line.points_against, line.result) == (9, "open")


def test_points_by_kind_are_confirmed_ones_alone(mira: Across) -> None:
    assert mira.points_for == {
        KINDS.TAKEDOWN: 2, KINDS.GUARD_PASS: 3, KINDS.KNEE_ON_BELLY: 2, KINDS.MOUNT: 4,
        KINDS.BACK_CONTROL: 4,
    }  # fmt: skip
    assert mira.points_against == {KINDS.TAKEDOWN: 2, KINDS.GUARD_PASS: 3, KINDS.MOUNT: 4}
    for line_sum, kinds in (
        (sum(line.points_for for line in mira.matches), mira.points_for),
        (sum(line.points_against for line in mira.matches), mira.points_against),
    ):
        assert sum(kinds.values()) == line_sum


def test_where_points_were_lost(mira: Across) -> None:
    assert mira.lost_from == {"standing": 2, "closed_guard bottom": 3, "side_control bottom": 4}


def test_seconds_to_stabilise(mira: Across) -> None:
    """Standing ends at 8, guard is held from 9: points at 12, so four seconds; and so on."""
    assert mira.stabilised == {
        KINDS.TAKEDOWN: pytest.approx((4.0,)),
        KINDS.GUARD_PASS: pytest.approx((3.0,)),
        KINDS.KNEE_ON_BELLY: pytest.approx((3.0,)),
        KINDS.MOUNT: pytest.approx((3.0,)),
        KINDS.BACK_CONTROL: pytest.approx((4.0,)),
    }


def test_conversions(season: Library, mira: Across) -> None:
    told = {
        each["step"]: (each["to"], each["tried"], each["made"])
        for each in mira.tables()["conversions"]
    }
    assert told == {
        "takedown": ("guard_pass", 1, 1),
        "guard_pass": ("mount or back_mount", 1, 1),
        "mount": ("submission", 1, 1),
    }
    found = across_matches(season, "tove lind").tables()["conversions"]
    tove = {each["step"]: (each["tried"], each["made"]) for each in found}
    assert tove == {"takedown": (0, 0), "guard_pass": (1, 1), "mount": (1, 0)}


def test_trend_by_event(mira: Across) -> None:
    assert [(row["event"], row["matches"], row["won"], row["points_for"], row["points_against"])
            for row in mira.tables()["trend"]] == [
        ("Harbour Open", 1, 0, 0, 0), ("Harbour Open", 1, 1, 15, 0), ("Fjord Cup", 1, 0, 0, 9),
    ]  # fmt: skip


def test_files_say_the_same(season: Library, mira: Across, tmp_path: Path) -> None:
    (path,) = write_across(season, "mira ostrand", tmp_path / "m.json")
    data = json.loads(path.read_text("utf-8"))
    assert (data["format"], data["version"]) == ("posescore-athlete", 1)
    paths = write_across(season, "mira ostrand", tmp_path / "m.csv")
    assert [each.name for each in paths] == [f"m.{table}.csv" for table in COLUMNS]
    for each, (table, columns) in zip(paths, COLUMNS.items(), strict=True):
        text = each.read_bytes().decode("utf-8")
        rows = list(csv.DictReader(io.StringIO(text, newline=""), strict=True))
        assert text.split("\r\n")[0] == ",".join(columns)
        assert [list(row.values()) for row in rows] == [
            [str(row[name]) for name in columns] for row in data[table]
        ]
        assert len(rows) > 0
        assert all(set(row) == set(columns) for row in mira.tables()[table])


def test_refusals(season: Library, mira: Across, tmp_path: Path) -> None:
    with pytest.raises(NotFoundError, match="named 'Nobody'"):
        across_matches(season, "Nobody")
    with pytest.raises(InputError, match="give the athlete's name"):
        across_matches(season, "  ")
    with pytest.raises(InputError, match="not one of matches, points"):
        across_csv(mira, "belts")
    with pytest.raises(InputError, match=r"\.json or \.csv"):
        write_across(season, "Mira Ostrand", tmp_path / "m.xlsx")


def test_points_of_penalties_are_counted_by_their_marks(tmp_path: Path) -> None:
    """The third penalty gives the opponent 2 points (restated from secondary pages)."""
    with Library(tmp_path / "library") as library:
        match = library.add_match(INFO)
        marks = tuple(MatchEvent(at_s, EventName.PENALTY, A, 0.9) for at_s in (5.0, 6.0, 7.0))
        library.save_analysis(match.id, analysis((), marks))
        confirm_all(library, match)
        for name, gained in (("Dana Külve", {"penalty": 2}), ("Mira Ostrand", {})):
            found = across_matches(library, name)
            assert found.points_for == gained
            assert found.matches[0].points_for == sum(gained.values())


def test_an_athlete_of_whom_nothing_is_confirmed_has_no_empty_plots(tmp_path: Path) -> None:
    with Library(tmp_path / "library") as library:
        match = library.add_match(INFO)
        library.save_analysis(match.id, analysis())
        html = across_html(across_matches(library, "Mira Ostrand"))
        assert "none reviewed yet" in html
        assert "Nothing is confirmed yet." in html
        assert "Points for and against" not in html
        assert "Every match" in html
        confirm_all(library, match)
        assert "Points for and against" in across_html(across_matches(library, "Mira Ostrand"))

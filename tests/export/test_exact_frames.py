"""The frame that an export names is the frame it shows, at every rate: read from the pixels.

The footage is decoded once more with PyAV alone; everything is held against that.
"""

from __future__ import annotations

import base64
import csv
import io
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest
from PIL import Image

from posescore.export import export
from posescore.export.clips import write_annotated, write_clips
from posescore.export.evidence import look_at, stills_of
from posescore.export.lesson import lesson_lines, write_lesson
from posescore.export.report import report_html
from posescore.export.report_content import report_of
from posescore.export.shots import Showing
from posescore.export.summary import summary_of
from posescore.footage import reading
from posescore.footage.proxy import make_proxy
from posescore.holds.event import EventName, MatchEvent
from posescore.holds.hold import Hold
from posescore.library.analysis import Analysis
from posescore.library.library import Library
from posescore.library.match import AthleteInfo, Footage, Match, MatchInfo
from posescore.library.review.edits import Confirm
from posescore.terms import Athlete, Position, Provenance
from posescore.web.api.stills import StillQuery, Stills
from tests.footage.clips import read_number, write_clip

PLAIN = Showing(skeletons=False)
ROUNDING_S = 0.000501
"""Tables write milliseconds: a frame may begin half of one later than written."""

A = Athlete.A
HOLDS = (
    Hold(0.0, 1.9, Position.STANDING, None, 0.97),
    Hold(2.3, 5.71, Position.CLOSED_GUARD, A, 0.9),
    Hold(5.9, 9.13, Position.SIDE_CONTROL, A, 0.85),
    Hold(9.13, 10.4, Position.KNEE_ON_BELLY, A, 0.8),
)
EVENTS = (MatchEvent(0.0, EventName.START), MatchEvent(2.0, EventName.TAKEDOWN_ATTEMPT, A, 0.9))
LASTS_S = 11


def uneven_ticks() -> list[int]:
    """From 60 frames a second down to 4, on whole ticks of 1/90,000 s."""
    steps = np.random.default_rng(5).choice([1500, 3000, 3003, 4500, 9000, 22_500], 2000)
    ticks = np.concatenate(([0], np.cumsum(steps)))
    return [int(tick) for tick in ticks[ticks < LASTS_S * 90_000]]


QUIET = {"x265-params": "log-level=none"}
FILMS: dict[str, tuple[list[int], Fraction, str, dict[str, str]]] = {
    "24": (list(range(LASTS_S * 24)), Fraction(1, 24), "libx264", {"bf": "0"}),
    "29.97 HEVC": (list(range(LASTS_S * 30)), Fraction(1001, 30_000), "libx265", QUIET),
    "60 B-frames": (list(range(LASTS_S * 60)), Fraction(1, 60), "libx264", {"bf": "3"}),
    "variable": (uneven_ticks(), Fraction(1, 90_000), "libx264", {"bf": "2"}),
}  # fmt: skip


@dataclass
class Film:
    """A match whose frames carry their number, and what PyAV alone reads from it."""

    library: Library
    match: Match
    shown_from_s: list[float]

    def is_shown(self, number: int, time_s: float) -> bool:
        """True when that frame is on display at that time, give or take the rounding of tables."""
        until_s = [*self.shown_from_s, float("inf")][number + 1]
        return self.shown_from_s[number] - ROUNDING_S <= time_s < until_s + 1e-9

    def is_last_before(self, number: int, end_s: float) -> bool:
        """True when the frame is the last one that begins before a time."""
        until_s = [*self.shown_from_s, float("inf")][number + 1]
        return self.shown_from_s[number] < end_s and until_s > end_s - 2 * ROUNDING_S


def decoded(path: Path) -> tuple[list[float], list[int]]:
    """Times and drawn numbers of a film, by PyAV alone; the first frame is at zero."""
    with av.open(str(path)) as box:
        frames = [
            (frame.time or 0.0, read_number(frame.to_ndarray(format="rgb24")))
            for frame in box.decode(video=0)
        ]
    return [time_s - frames[0][0] for time_s, _ in frames], [number for _, number in frames]


@pytest.fixture(scope="module", params=FILMS)
def footage(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    ticks, time_base, codec, options = FILMS[request.param]
    path = tmp_path_factory.mktemp("films") / "film.mp4"
    return write_clip(path, ticks, time_base, codec, options=options)


@pytest.fixture
def film(footage: Path, tmp_path: Path) -> Iterator[Film]:
    times_s, numbers = decoded(footage)
    assert numbers == list(range(len(numbers)))
    clock = reading.Footage(footage).clock()
    assert clock.pts_s == pytest.approx(times_s, abs=1e-5)
    with Library(tmp_path / "library") as library:
        known = Footage(str(footage), "ef" * 32, footage.stat().st_size, clock.end_s)
        match = library.add_match(
            MatchInfo("Film", AthleteInfo("Una Roe"), AthleteInfo("Ida Holt"), footage=known)
        )
        library.save_analysis(match.id, Analysis(clock, HOLDS, EVENTS, (), Provenance("test")))
        for item in library.review(match.id).items:
            library.edit(match.id, Confirm(item.key), "Ann")
        yield Film(library, library.match(match.id), times_s)


def test_tables_name_the_frame_that_is_shown(film: Film) -> None:
    for name in ("csv", "holds-csv"):
        rows = list(
            csv.DictReader(io.StringIO(export.export_text(film.library, film.match.id, name)))
        )
        assert len(rows) >= 2
        for row in rows:
            if name == "csv":
                assert film.is_shown(int(row["frame_index"]), float(row["time_s"]))
            start = "evidence_" if name == "csv" else ""
            assert film.is_shown(int(row[f"{start}first_frame"]), float(row[f"{start}start_s"]))
            assert film.is_last_before(int(row[f"{start}last_frame"]), float(row[f"{start}end_s"]))


def test_labels_name_the_frame_that_is_shown(film: Film) -> None:
    text = export.export_text(film.library, film.match.id, "frames-csv")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert len(rows) == len(film.shown_from_s)
    for row in rows:
        assert film.is_shown(int(row["frame_index"]), float(row["time_s"]) + 5e-4)


def test_json_names_the_frame_that_is_shown(film: Film) -> None:
    data = json.loads(export.export_text(film.library, film.match.id, "json"))
    assert data["frames"]["count"] == len(film.shown_from_s)
    named = list(timed(data))
    assert len(named) >= 2
    for one in named:
        assert film.is_shown(one["frame_index"], one["time_s"])


def timed(part: Any) -> Iterator[dict[str, Any]]:
    """Every part of a document that names a frame and its time."""
    if isinstance(part, dict):
        if {"frame_index", "time_s"} <= part.keys():
            yield part
        part = list(part.values())
    if isinstance(part, list):
        for each in part:
            yield from timed(each)


def test_cues_name_the_frames_that_are_shown(film: Film) -> None:
    text = export.export_text(film.library, film.match.id, "webvtt")
    moments = re.findall(r"frame (\d+), ([\d.]+) s", text)
    stretches = re.findall(r"frames (\d+) to (\d+), ([\d.]+) to ([\d.]+) s", text)
    assert len(moments) >= 2
    assert len(stretches) >= len(HOLDS)
    for number, time_s in moments:
        assert film.is_shown(int(number), float(time_s))
    for first, last, start_s, end_s in stretches:
        assert film.is_shown(int(first), float(start_s))
        assert film.is_last_before(int(last), float(end_s))


def test_pictures_of_the_report_are_the_frames_they_name(film: Film) -> None:
    report = report_of(film.library, film.match.id, showing=PLAIN)
    coded = re.findall(r'src="data:image/jpeg;base64,([^"]+)"', report_html(report))
    told = [each for each in (*report.moments[0], *report.near) if each.jpeg]
    assert len(coded) == len(told) >= 2
    for each, picture in zip(told, coded, strict=True):
        shown = read_number(np.asarray(Image.open(io.BytesIO(base64.b64decode(picture)))))
        assert shown == each.look_frame
        assert f"frame {shown}, " in each.picture_text
        assert f"frame {each.line.frame_index}, " in each.when
        assert film.is_shown(each.line.frame_index, each.line.time_s)


def test_stills_of_the_evidence_are_the_frames_they_name(film: Film) -> None:
    review = film.library.review(film.match.id)
    stills = [still for item in review.items for still in stills_of(item, review)]
    assert len(stills) >= 4
    pictures = Stills(film.library)
    for still in stills:
        coded = pictures.jpeg(film.match.id, still.frame_index, StillQuery(skeletons=False))
        assert read_number(np.asarray(Image.open(io.BytesIO(coded)))) == still.frame_index
        assert film.is_shown(still.frame_index, still.time_s)


def test_clips_hold_exactly_the_frames_around_the_award(film: Film, tmp_path: Path) -> None:
    made = write_clips(
        film.library, film.match.id, tmp_path / "clips", before_s=1.0, after_s=0.5, showing=PLAIN
    )
    assert len(made) >= 2
    review = film.library.review(film.match.id)
    lines = summary_of(review, film.match).awards
    for path, line in zip(made, lines, strict=True):
        named, time_s = re.search(r"frame-(\d+)-([\d.]+)s\.mp4", path.name).groups()  # type: ignore[union-attr]
        assert film.is_shown(int(named), float(time_s))
        times_s, numbers = decoded(path)
        assert numbers == list(range(numbers[0], numbers[-1] + 1))
        look = look_at(line.item, review)
        around_s = float(time_s) if look.frame_index == int(named) else look.time_s
        assert film.is_shown(numbers[0], around_s - 1.0)
        assert film.is_shown(numbers[-1], around_s + 0.5)
        assert look.frame_index in numbers
        starts_s = film.shown_from_s[numbers[0]]
        assert times_s == pytest.approx(
            [film.shown_from_s[number] - starts_s for number in numbers], abs=3e-5
        )


def test_the_annotated_film_has_every_frame_at_its_time(film: Film, tmp_path: Path) -> None:
    times_s, numbers = decoded(
        write_annotated(film.library, film.match.id, tmp_path / "all.mp4", showing=PLAIN)
    )
    assert numbers == list(range(len(film.shown_from_s)))
    assert times_s == pytest.approx(film.shown_from_s, abs=3e-5)


def test_clips_of_the_lesson_stop_at_the_frame_of_the_award(film: Film, tmp_path: Path) -> None:
    out = write_lesson(film.library, film.match.id, tmp_path / "lesson.html", showing=PLAIN)
    coded = re.findall(r'src="data:video/mp4;base64,([^"]+)"', out.read_text("utf-8"))
    lines = lesson_lines(film.library, film.match.id)
    review = film.library.review(film.match.id)
    assert len(coded) == len(lines) >= 2
    for number, (clip, line) in enumerate(zip(coded, lines, strict=True)):
        path = tmp_path / f"{number}.mp4"
        path.write_bytes(base64.b64decode(clip))
        numbers, look = decoded(path)[1], look_at(line.item, review)
        assert numbers == list(range(numbers[0], look.frame_index + 1))
        assert film.is_shown(numbers[-1], look.time_s)


def test_the_copy_for_browsers_has_every_frame_at_its_time(film: Film, tmp_path: Path) -> None:
    assert film.match.info.footage is not None
    make_proxy(reading.Footage(film.match.info.footage.path), tmp_path / "copy.mp4")
    times_s, numbers = decoded(tmp_path / "copy.mp4")
    assert numbers == list(range(len(film.shown_from_s)))
    assert times_s == pytest.approx(film.shown_from_s, abs=3e-5)

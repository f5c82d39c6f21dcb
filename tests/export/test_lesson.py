"""A lesson is one valid file that needs nothing else, with two sentences for every moment."""

from __future__ import annotations

import base64
import re
from dataclasses import replace
from pathlib import Path

import pytest

from posescore.errors import InputError
from posescore.export.evidence import look_at
from posescore.export.lesson import lesson_lines, write_lesson
from posescore.export.rows import lines_of
from posescore.export.sentences import two_sentences
from posescore.export.shots import Showing
from posescore.footage.reading import Footage
from posescore.library.library import Library
from posescore.library.match import AthleteInfo, Match
from posescore.scoring.proposal import ProposalKind
from posescore.scoring.rules import RuleSet
from posescore.terms import Athlete
from tests.export.filmed import variable_clock
from tests.export.test_report import NASTY, parsed, text_of
from tests.footage.clips import read_number

Kept = tuple[Library, Match]
RULES = RuleSet.load()
NAMES = {Athlete.A: "Mira Ostrand", Athlete.B: "Dana Külve"}


def test_every_clip_stops_at_its_moment(looked_at: Kept, tmp_path: Path) -> None:
    library, match = looked_at
    out = write_lesson(library, match.id, tmp_path / "l.html", showing=Showing(skeletons=False))
    html = out.read_text("utf-8")
    parsed(html)
    assert "<script" not in html
    sources = re.findall(r'\s(?:src|href|poster)="([^"]*)"', html)
    assert all(re.match(r"data:(image/jpeg|video/mp4);base64,", source) for source in sources)
    lines = lesson_lines(library, match.id)
    clips = re.findall(r'src="data:video/mp4;base64,([^"]+)"', html)
    assert len(clips) == len(lines) == html.count("<article")
    clock, review = variable_clock(), library.review(match.id)
    for number, (coded, line) in enumerate(zip(clips, lines, strict=True)):
        path = tmp_path / f"{number}.mp4"
        path.write_bytes(base64.b64decode(coded))
        shown = [read_number(frame.picture) for frame in Footage(path).frames()]
        look = look_at(line.item, review)
        assert shown == list(range(clock.frame_index(look.time_s - 5), look.frame_index + 1))


def test_what_is_shown_and_how(looked_at: Kept, tmp_path: Path) -> None:
    library, match = looked_at
    html = write_lesson(library, match.id, tmp_path / "l.html", clips=False).read_text("utf-8")
    text = text_of(html)
    assert "<video" not in html
    assert html.count("<img") == len(lesson_lines(library, match.id))
    assert "the legs held" not in text, "a dismissed line is no lesson"
    assert "Mira Ostrand brought the opponent from standing to the mat" in text
    assert "The referee's call stands" in text
    assert html.count('<article class="proposed"') == len(library.review(match.id).undecided)
    write_lesson(library, match.id, tmp_path / "l.html", clips=False, proposed=False)
    assert "proposed" not in re.findall(
        r'<article class="(\w+)"', (tmp_path / "l.html").read_text()
    )


def test_two_sentences_each(looked_at: Kept) -> None:
    library, match = looked_at
    lines = {kind_of: x for x in lines_of(library.review(match.id), match)
             for kind_of in [x.item.shown.kind]}  # fmt: skip
    for line in lines.values():
        for sentence in two_sentences(line, NAMES, RULES):
            assert re.fullmatch(r"[A-Z].*[^.]\.", sentence)
    what, worth = two_sentences(lines[ProposalKind.TAKEDOWN], NAMES, RULES)
    assert what.endswith("on the mat this is called takedown.")
    assert worth == "Held for three seconds, it is worth 2 points; Ann <b>Weber</b> decided so."
    what, worth = two_sentences(lines[ProposalKind.NONE], NAMES, RULES)
    assert what == "What Dana Külve did looks like a sweep."
    assert worth.startswith("It is worth nothing, because Dana Külve escaped")
    assert worth.endswith("nobody has confirmed it.")
    _, worth = two_sentences(lines[ProposalKind.PENALTY], NAMES, RULES)
    assert worth == "It counts as a penalty; nobody has confirmed it."


def test_names_are_text_never_markup(looked_at: Kept, tmp_path: Path) -> None:
    library, match = looked_at
    library.update_match(match.id, replace(match.info, title=NASTY, athlete_b=AthleteInfo(NASTY)))
    html = write_lesson(library, match.id, tmp_path / "l.html", clips=False).read_text("utf-8")
    parsed(html)
    assert "<script" not in html


def test_refusals(looked_at: Kept, tmp_path: Path) -> None:
    library, match = looked_at
    with pytest.raises(InputError, match=r"\.html"):
        write_lesson(library, match.id, tmp_path / "l.pdf")

    def stop(stage: str, done: int, total: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_lesson(library, match.id, tmp_path / "l.html", progress=stop)
    assert not (tmp_path / "l.html").exists()

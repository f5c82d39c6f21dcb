"""A rule set with another hold time reaches evidence, reports and lessons; none says three."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from pypdf import PdfReader

from posescore.export.evidence import stills_of
from posescore.export.lesson import write_lesson
from posescore.export.report import write_report
from posescore.export.rows import lines_of
from posescore.export.sentences import two_sentences
from posescore.library.library import Library
from posescore.library.match import Match
from posescore.library.review.edits import SetRules
from posescore.library.review.review import Review
from posescore.scoring.proposal import ProposalKind
from tests.export.test_report import text_of

Kept = tuple[Library, Match]
CLUB = 'name="club"\nbased_on="sport-jiu-jitsu"\n[seconds]\nhold=5\n'


@pytest.fixture
def under_five(filmed: Kept, tmp_path: Path) -> tuple[Library, Match, Review]:
    library, match = filmed
    path = tmp_path / "club.toml"
    path.write_text(CLUB, "utf-8")
    review = library.edit(match.id, SetRules(str(path)), "Ann")
    return library, library.match(match.id), review


def test_the_still_in_the_middle_is_the_rule_sets(
    under_five: tuple[Library, Match, Review],
) -> None:
    _, _, review = under_five
    told = [(x.shown, {s.label: s for s in stills_of(x, review)}) for x in review.items]
    over = [(p, stills) for p, stills in told if p.points and "5 seconds held" in stills]
    assert over
    assert not [stills for _, stills in told if "3 seconds held" in stills]
    for shown, stills in over:
        still = stills["5 seconds held"]
        assert still.frame_index == review.clock.frame_index(shown.time_s + 1e-6)
        assert still.time_s - stills["It begins"].time_s > 4.5, "frames lie up to 0.3 s apart"
    # The samples' knee-on-belly of 4.5 s (24.0 to 28.5 s) is long enough under the published rules.
    knee = [x.shown for x in review.items if x.shown.would_be is ProposalKind.KNEE_ON_BELLY]
    assert all(not each.points for each in knee)


def test_sentences_say_its_seconds(under_five: tuple[Library, Match, Review]) -> None:
    _, match, review = under_five
    lines = lines_of(review, match)
    said = [two_sentences(line, match.info.names, review.rule_set)[1] for line in lines]
    assert any(each.startswith("Held for five seconds, it is worth ") for each in said)


@pytest.mark.parametrize("suffix", ["html", "pdf"])
def test_reports_say_no_other_seconds(
    under_five: tuple[Library, Match, Review], tmp_path: Path, suffix: str
) -> None:
    library, match, _ = under_five
    out = write_report(library, match.id, tmp_path / f"report.{suffix}")
    if suffix == "pdf":
        text = " ".join(page.extract_text() for page in PdfReader(out).pages)
    else:
        text = text_of(out.read_text("utf-8"))
    assert "seconds" in text
    assert not re.search(r"three\s+seconds|\b3\s+seconds", text)


def test_a_lesson_says_no_other_seconds(
    under_five: tuple[Library, Match, Review], tmp_path: Path
) -> None:
    library, match, _ = under_five
    out = write_lesson(library, match.id, tmp_path / "lesson.html", clips=False)
    text = text_of(out.read_text("utf-8"))
    assert "five seconds" in text
    assert not re.search(r"three\s+seconds|\b3\s+seconds", text)

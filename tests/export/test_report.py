"""Reports hold against outside readers: html5lib and pypdf; pictures show the frame they name."""

from __future__ import annotations

import base64
import io
import re
from dataclasses import replace
from html import unescape
from pathlib import Path

import html5lib
import numpy as np
import pypdf
import pytest
from PIL import Image

from posescore.errors import InputError, NotFoundError, StorageError
from posescore.export.report import report_html, write_report
from posescore.export.report_content import report_of
from posescore.export.shots import Showing
from posescore.export.summary import summary_of, time_in_positions
from posescore.footage.proxy import make_proxy
from posescore.footage.reading import Footage
from posescore.library.library import Library
from posescore.library.match import AthleteInfo, Match
from posescore.library.review.edits import AddAward
from posescore.scoring.proposal import ProposalKind
from posescore.terms import Athlete, Position
from tests.footage.clips import read_number

Kept = tuple[Library, Match]
NASTY = "<script>alert(1)</script> & \"Mira\" 'O' Łukasz Ђорђе"


def text_of(html: str) -> str:
    return " ".join(unescape(re.sub(r"<style>.*?</style>|<[^>]+>", " ", html, flags=re.S)).split())


def parsed(html: str) -> object:
    """The tree; any parse error by the standard's parser raises."""
    return html5lib.HTMLParser(strict=True).parse(html)


def pages(path: Path) -> list[str]:
    return [page.extract_text() for page in pypdf.PdfReader(path, strict=True).pages]


# HTML ---------------------------------------------------------------------------------------------
def test_html_is_valid_and_needs_nothing_else(looked_at: Kept, tmp_path: Path) -> None:
    library, match = looked_at
    html = write_report(library, match.id, tmp_path / "r.html").read_text("utf-8")
    parsed(html)
    assert not re.findall(r"<(?:script|link|iframe|object)\b", html)
    addresses = re.findall(r'\s(?:src|href)="([^"]*)"', html)
    assert addresses
    assert "url(" not in html
    assert "http" not in html.split("</head>")[1]
    assert all(address.startswith("data:") for address in addresses)
    assert all(re.search(r'alt="[^"]{10,}"', tag) for tag in re.findall(r"<img[^>]*>", html))
    ids = re.findall(r'\bid="([^"]+)"', html)
    assert len(ids) == len(set(ids))
    assert set(re.findall(r'aria-labelledby="([^"]+)"', html)) <= set(ids)


def test_the_validator_finds_faults() -> None:
    with pytest.raises(html5lib.html5parser.ParseError):
        parsed("<!DOCTYPE html><html><head><title>x</title></head><body><p></b></body></html>")


def test_html_tells_confirmed_from_proposed(looked_at: Kept, tmp_path: Path) -> None:
    library, match = looked_at
    html = report_html(report_of(library, match.id))
    text = text_of(html)
    assert "Confirmed by people A Mira Ostrand: 2 points" in text
    assert "Proposed only: if every proposal stood A Mira Ostrand: 8 points" in text
    confirmed, proposed = text.split("Every award")[1].split("Proposed, not confirmed", 1)
    assert "Takedown, 2 points" in confirmed
    assert "Confirmed by Ann <b>Weber</b>" in confirmed
    assert "Changed by Ben" in confirmed
    assert "Added by Ben" in confirmed
    assert "Back control" not in confirmed
    assert "Back control, 4 points" in proposed
    near = text.split("What nearly scored, and what was missing")[1]
    assert "starts underneath in guard or half-guard" in near
    assert "Dismissed by Ann" in near
    assert "Reason given: the legs held" in near
    assert "The referee's call stands" in text


def test_letters_become_names_in_the_engine_s_words_alone(looked_at: Kept) -> None:
    library, match = looked_at
    added = AddAward(Athlete.A, ProposalKind.SWEEP, 59.0, 2, reason="A lovely sweep by A, B fell.")
    library.edit(match.id, added, "Ben")
    text = text_of(report_html(report_of(library, match.id)))
    assert "A lovely sweep by A, B fell." in text
    assert "Mira Ostrand took Dana Külve down from standing" in text
    assert not re.search(r"[^.:] [AB]('s)? (took|was|got)", text)


def test_names_are_text_never_markup(looked_at: Kept, tmp_path: Path) -> None:
    library, match = looked_at
    info = replace(match.info, title=NASTY, athlete_a=AthleteInfo(NASTY), event=NASTY)
    library.update_match(match.id, info)
    html = report_html(report_of(library, match.id))
    parsed(html)
    assert "<script" not in html
    assert NASTY in text_of(html)
    write_report(library, match.id, tmp_path / "r.pdf")
    assert "Łukasz Ђорђе" in pages(tmp_path / "r.pdf")[0]


def test_every_picture_is_the_frame_it_names(looked_at: Kept) -> None:
    library, match = looked_at
    report = report_of(library, match.id, showing=Showing(skeletons=False))
    clock = library.review(match.id).clock
    told = [*report.awards, *report.proposed, *report.near]
    assert len([each for each in told if each.jpeg]) >= 6
    for each in told:
        assert each.line.frame_index == clock.frame_index(each.line.time_s + 1e-6)
        if each.line.item.shown.points:
            assert each.look_frame == each.line.frame_index
        assert each.look_frame <= each.line.frame_index
        if each.jpeg:
            shown = np.asarray(Image.open(io.BytesIO(each.jpeg)))
            assert read_number(shown) == each.look_frame
            assert f"frame {each.look_frame}, " in each.picture_text
            assert f"frame {each.line.frame_index}, {each.line.time_s:.3f} s" in each.when


def test_pictures_in_html_are_those_of_the_report(looked_at: Kept) -> None:
    library, match = looked_at
    report = report_of(library, match.id)
    coded = re.findall(r'src="data:image/jpeg;base64,([^"]+)"', report_html(report))
    told = [*report.moments[0], *report.moments[1], *report.near]
    assert len({x.line.number for x in told}) == len(told)  # nothing is told twice
    assert [base64.b64decode(each) for each in coded] == [x.jpeg for x in told if x.jpeg]


# Numbers ------------------------------------------------------------------------------------------
def test_the_curves_end_at_the_scores(looked_at: Kept) -> None:
    library, match = looked_at
    review = library.review(match.id)
    summary = summary_of(review, match)
    for curve, score in (
        (summary.curve, review.confirmed_score),
        (summary.proposed_curve, review.proposed_score),
    ):
        assert curve[-1].points == {athlete: score[athlete].points for athlete in Athlete}
        assert [step.time_s for step in curve] == sorted(step.time_s for step in curve)
    assert [step.points[Athlete.A] for step in summary.proposed_curve] == [0, 2, 4, 4, 8, 8]
    assert [(step.time_s, step.points[Athlete.B]) for step in summary.curve[-2:]] == [
        (pytest.approx(31.5), 4),
        (47.1, 6),
    ]


def test_time_in_positions_adds_up_to_the_footage(filmed: Kept) -> None:
    library, match = filmed
    review = library.review(match.id)
    times = {each.position: each for each in time_in_positions(review)}
    assert sum(each.total_s for each in times.values()) == pytest.approx(review.clock.end_s)
    assert times[Position.MOUNT].upper_s == {Athlete.A: 7.5, Athlete.B: 0.0}
    assert times[Position.HALF_GUARD].upper_s[Athlete.B] == 11.0
    assert times[Position.STANDING].nobody_s == 8.0
    assert Position.TURTLE not in times


# PDF ----------------------------------------------------------------------------------------------
def test_pdf_says_the_same(looked_at: Kept, tmp_path: Path) -> None:
    library, match = looked_at
    path = write_report(library, match.id, tmp_path / "r.pdf")
    reader = pypdf.PdfReader(path, strict=True)
    first, rest = reader.pages[0].extract_text(), " ".join(pages(path)[1:])
    for word in ("Mira Ostrand", "Dana Külve", "Harbour Open", "Confirmed by people",
                 "Proposed only: if every proposal stood", "Mira Ostrand leads by points, 8 to 6",
                 "Takedown, 2 points", "Ann <b>Weber</b>"):  # fmt: skip
        assert word in " ".join(first.split())
    flat = " ".join(rest.split())
    report = report_of(library, match.id)
    for told in (*report.awards, *report.proposed, *report.near):
        assert told.title in flat
        assert told.when in flat
    assert "starts underneath in guard or half-guard" in flat
    pictures = sum(len(page.images) for page in reader.pages)
    assert pictures == len([x for x in (*report.awards, *report.proposed, *report.near) if x.jpeg])
    assert reader.metadata is not None
    assert reader.metadata.title == "Report: Second round"
    assert reader.root_object["/Lang"] == "en-GB"
    assert "/Type3" not in path.read_bytes().decode("latin-1")
    titles = [entry.title for entry in reader.outline if not isinstance(entry, list)]
    assert titles[:2] == ["Score", "Every award"]


@pytest.mark.parametrize(
    ("title", "drawn"),
    [("柔術 final", "□□ final"), ("a\0b\tc", "a b c"), ("bad \udcff name", "bad □ name"),
     ("{pages} %d **b**", "{pages} %d **b**")],
)  # fmt: skip
def test_pdf_takes_every_name(
    looked_at: Kept, tmp_path: Path, caplog: pytest.LogCaptureFixture, title: str, drawn: str
) -> None:
    library, match = looked_at
    no_footage = replace(match.info, title=title, footage=None)
    library.update_match(match.id, no_footage)
    path = write_report(library, match.id, tmp_path / "r.pdf")
    first = pages(path)[0]
    assert first.startswith(drawn)
    assert f"{drawn} · The referee's call stands. · 1 of {len(pages(path))}" in first
    assert not caplog.records
    parsed(report_html(report_of(library, match.id)))


# Where things are missing -------------------------------------------------------------------------
def test_a_match_nobody_looked_at(filmed: Kept, tmp_path: Path) -> None:
    library, match = filmed
    text = text_of(report_html(report_of(library, match.id)))
    assert "Nothing is confirmed yet" in text
    write_report(library, match.id, tmp_path / "r.pdf")
    assert "Nothing is confirmed yet." in pages(tmp_path / "r.pdf")[0]


def test_without_footage_there_are_words_alone(looked_at: Kept, tmp_path: Path) -> None:
    library, match = looked_at
    assert match.info.footage is not None
    gone = replace(match.info.footage, path=str(tmp_path / "gone.mp4"))
    library.update_match(match.id, replace(match.info, footage=gone))
    html = report_html(report_of(library, match.id))
    parsed(html)
    assert "<img" not in html
    assert "The footage was not at hand" in html
    write_report(library, match.id, tmp_path / "r.pdf")
    assert "The footage was not at hand" in " ".join(pages(tmp_path / "r.pdf"))


def test_the_copy_for_browsers_serves_where_the_footage_is_gone(
    looked_at: Kept, tmp_path: Path
) -> None:
    library, match = looked_at
    assert match.info.footage is not None
    make_proxy(Footage(Path(match.info.footage.path)), match.proxy_path)
    gone = replace(match.info.footage, path=str(tmp_path / "gone.mp4"))
    library.update_match(match.id, replace(match.info, footage=gone))
    for told in report_of(library, match.id, showing=Showing(skeletons=False)).awards:
        assert read_number(np.asarray(Image.open(io.BytesIO(told.jpeg)))) == told.line.frame_index


def test_refusals_are_one_sentence_and_leave_nothing(looked_at: Kept, tmp_path: Path) -> None:
    library, match = looked_at
    with pytest.raises(InputError, match=r"\.html or \.pdf"):
        write_report(library, match.id, tmp_path / "r.docx")
    with pytest.raises(NotFoundError):
        write_report(library, match.id + 1, tmp_path / "r.pdf")
    with pytest.raises(StorageError, match="cannot be written"):
        write_report(library, match.id, tmp_path / "no folder" / "r.html")

    def stop(stage: str, done: int, total: int) -> None:
        assert 1 <= done <= total
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_report(library, match.id, tmp_path / "r.html", progress=stop)
    assert not [path for path in tmp_path.iterdir() if path.name != "library"]


def test_a_penalty_is_an_award_line(filmed: Kept) -> None:
    library, match = filmed
    summary = summary_of(library.review(match.id), match)
    assert ProposalKind.PENALTY in {line.item.shown.kind for line in summary.proposed}

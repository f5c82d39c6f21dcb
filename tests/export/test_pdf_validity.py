"""The PDF of a report by qpdf's own check, in every state that a match can be in."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pikepdf
import pytest

from posescore.export.report import write_report
from posescore.library.library import Library
from posescore.library.match import AthleteInfo, Match
from tests.export.test_report import NASTY

Kept = tuple[Library, Match]


def faults(path: Path) -> list[str]:
    """What qpdf complains about; it mends what it can, so opening alone proves nothing."""
    with pikepdf.open(path, attempt_recovery=False) as pdf:
        return [*map(str, pdf.check_pdf_syntax()), *map(str, pdf.get_warnings())]


def fonts_that_do_not_travel(path: Path) -> list[str]:
    """Fonts that a reader would have to have, and replaces by what it likes where it has not."""
    inside = {"/FontFile2", "/FontFile3"}
    with pikepdf.open(path) as pdf:
        parts = [part for part in pdf.objects if isinstance(part, pikepdf.Dictionary)]
        fonts = [part for part in parts if part.get("/Type") == "/FontDescriptor"]
        assert fonts
        return [str(font.FontName) for font in fonts if not inside & set(font.keys())]


def test_as_proposed(filmed: Kept, tmp_path: Path) -> None:
    library, match = filmed
    path = write_report(library, match.id, tmp_path / "r.pdf")
    assert faults(path) == []


def test_decided_with_every_kind_of_name(looked_at: Kept, tmp_path: Path) -> None:
    library, match = looked_at
    info = replace(match.info, title=NASTY, athlete_a=AthleteInfo(NASTY), event="柔術 ♞ \u202e x")
    library.update_match(match.id, info)
    path = write_report(library, match.id, tmp_path / "r.pdf")
    assert faults(path) == []
    assert fonts_that_do_not_travel(path) == []
    with pikepdf.open(path) as pdf:
        for page in pdf.pages:
            assert [float(edge) for edge in page.mediabox] == pytest.approx(
                [0, 0, 595.28, 841.89], abs=0.1
            )


def test_without_footage(looked_at: Kept, tmp_path: Path) -> None:
    library, match = looked_at
    library.update_match(match.id, replace(match.info, footage=None))
    assert faults(write_report(library, match.id, tmp_path / "r.pdf")) == []


def test_the_check_finds_faults(filmed: Kept, tmp_path: Path) -> None:
    library, match = filmed
    path = write_report(library, match.id, tmp_path / "r.pdf")
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(pikepdf.PdfError):
        faults(path)
    at = whole.index(b"FlateDecode")
    start = whole.index(b"stream", at) + 20
    path.write_bytes(whole[:start] + b"\0" * 40 + whole[start + 40 :])
    assert faults(path) != []

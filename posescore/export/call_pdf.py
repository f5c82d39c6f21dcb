"""The sheet for one call on paper: one page of A4."""

from __future__ import annotations

import io
from typing import Final

from posescore.export.call_sheet import CallSheet
from posescore.export.report_pdf import INK_OF_WORDS as INK
from posescore.export.report_pdf import LINE_MM, Paper
from posescore.library.store.plain import utf8
from posescore.words import WORDS

TALLEST_MM: Final = 44.0
"""Of a picture: three of them, upright ones too, leave room for the words on one page."""
GAP_MM: Final = 3.0


SIZES: Final = (1.0, 0.9, 0.8, 0.7, 0.6)
"""What does not fit on the page is set smaller, down to 5.7 points."""


class _Sheet(Paper):
    """A page whose letters, lines and pictures all shrink alike."""

    def __init__(self, title: str, size: float) -> None:
        self.size = size
        super().__init__(title)

    def ink(self, size: float = 9.5, bold: bool = False, colour: str = INK) -> None:
        """Choose the letters, in their size on this page."""
        super().ink(size * self.size, bold, colour)

    def line_height(self, height_mm: float = LINE_MM) -> float:
        """Height of a line, mm."""
        return height_mm * self.size


def call_pdf(sheet: CallSheet) -> bytes:
    """The sheet as PDF: one page of A4, in letters as large as fit."""
    for size in SIZES:
        paper = _laid_out(sheet, size)
        if paper.page_no() == 1 or size == SIZES[-1]:
            break
        paper.put_away()
    return paper.finished()


def _laid_out(sheet: CallSheet, size: float) -> _Sheet:
    words = WORDS["call"]
    paper = _Sheet(sheet.heading, size)
    paper.ink(13, bold=True)
    paper.multi_cell(0, paper.line_height(6), sheet.heading, new_x="LMARGIN", new_y="NEXT")
    paper.say(sheet.match.info.title, bold=True)
    who = " · ".join(f"{athlete}: {name}" for athlete, name in sheet.names.items())
    paper.say(" · ".join(text for text in (who, sheet.about) if text), soft=True)
    paper.ln(1)
    paper.say(words["referee"], bold=True)
    paper.say(sheet.told)
    _frames(paper, sheet)
    _small_heading(paper, words["criteria"])
    if sheet.asks:
        paper.say(sheet.asks, soft=True)
    if sheet.criteria:
        _table(
            paper, (44, 18, 70, 16),
            [tuple(words[name] for name in ("criterion", "answer", "seen", "clause"))]
            + [(each.name, each.word, each.seen, each.clause) for each in sheet.criteria],
        )  # fmt: skip
    else:
        paper.say(words["nothing_asked"])
    if sheet.sure:
        paper.say(words["sure"].format(sure=sheet.sure), soft=True)
    paper.say(f"{words['why']}: {sheet.why}", soft=True)
    _small_heading(paper, words["opinions"])
    _table(
        paper, (32, 66, 50),
        [tuple(words[name] for name in ("review", "stands", "reason"))]
        + [
            (each.who, " · ".join(text for text in (each.stands, each.by) if text), each.reason)
            for each in sheet.said
        ],
    )  # fmt: skip
    _small_heading(paper, words["settlement"])
    paper.say(sheet.settled)
    for line in sheet.ending:
        paper.say(line, soft=True)
    paper.say(f"{WORDS['notes']['safety']} {sheet.sources}".strip(), soft=True)
    return paper


def _small_heading(paper: _Sheet, text: str) -> None:
    paper.ln(1.5)
    paper.start_section(text)
    paper.say(text, bold=True)


def _frames(paper: _Sheet, sheet: CallSheet) -> None:
    """The frames side by side, each with what it shows."""
    if sheet.no_pictures:
        paper.say(sheet.no_pictures, soft=True)
        return
    paper.ln(1)
    top, width_mm = paper.get_y(), (paper.epw - 2 * GAP_MM) / 3
    lowest = top
    for number, frame in enumerate(sheet.frames):
        left = paper.l_margin + number * (width_mm + GAP_MM)
        said = f"{frame.label}, {frame.at}, frame {frame.frame_index}"
        paper.image(
            io.BytesIO(frame.jpeg), x=left, y=top, w=width_mm, h=TALLEST_MM * paper.size,
            keep_aspect_ratio=True, alt_text=utf8(said),
        )  # fmt: skip
        paper.ink(7.5)
        paper.set_xy(left, top + TALLEST_MM * paper.size + 0.5)
        paper.multi_cell(
            width_mm, paper.line_height(3.6), said, align="L", new_x="LMARGIN", new_y="NEXT"
        )
        lowest = max(lowest, paper.get_y())
    paper.set_y(lowest)


def _table(paper: _Sheet, widths: tuple[float, ...], rows: list[tuple[str, ...]]) -> None:
    paper.ink(8)
    paper.set_draw_color("#c9d2d3")
    with paper.table(
        col_widths=widths, line_height=paper.line_height(4.0), text_align="LEFT", padding=0.4,
        borders_layout="HORIZONTAL_LINES",
    ) as table:  # fmt: skip
        for row in rows:
            table.row(row)

"""The sheet for one call on paper: one page of A4."""

from __future__ import annotations

import io
from typing import Final

from posescore.export.call_sheet import CallSheet
from posescore.export.report_pdf import Paper
from posescore.library.store.plain import utf8
from posescore.words import WORDS

TALLEST_MM: Final = 44.0
"""Of a picture: three of them, upright ones too, leave room for the words on one page."""
GAP_MM: Final = 3.0


def call_pdf(sheet: CallSheet) -> bytes:
    """The sheet as PDF, A4."""
    words = WORDS["call"]
    paper = Paper(sheet.heading)
    paper.ink(13, bold=True)
    paper.multi_cell(0, 6, sheet.heading, new_x="LMARGIN", new_y="NEXT")
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
    return bytes(paper.output())


def _small_heading(paper: Paper, text: str) -> None:
    paper.ln(1.5)
    paper.start_section(text)
    paper.say(text, bold=True)


def _frames(paper: Paper, sheet: CallSheet) -> None:
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
            io.BytesIO(frame.jpeg), x=left, y=top, w=width_mm, h=TALLEST_MM,
            keep_aspect_ratio=True, alt_text=utf8(said),
        )  # fmt: skip
        paper.ink(7.5)
        paper.set_xy(left, top + TALLEST_MM + 0.5)
        paper.multi_cell(width_mm, 3.6, said, align="L", new_x="LMARGIN", new_y="NEXT")
        lowest = max(lowest, paper.get_y())
    paper.set_y(lowest)


def _table(paper: Paper, widths: tuple[float, ...], rows: list[tuple[str, ...]]) -> None:
    paper.ink(8)
    paper.set_draw_color("#c9d2d3")
    with paper.table(
        col_widths=widths, line_height=4.0, text_align="LEFT", padding=0.4,
        borders_layout="HORIZONTAL_LINES",
    ) as table:  # fmt: skip
        for row in rows:
            table.row(row)

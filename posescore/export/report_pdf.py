"""The report on paper: PDF with embedded fonts, a language, and words for every picture."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from importlib.util import find_spec
from pathlib import Path
from typing import Final

from fpdf import FPDF, XPos, YPos
from fpdf.fonts import TTFFont

from posescore import __version__
from posescore.errors import MissingPartError
from posescore.export.report_content import Report, curve_words
from posescore.export.score_drawing import INK, Plot
from posescore.export.sentences import result_words, standing_words, tally_words, waiting_words
from posescore.export.telling import LineText
from posescore.library.match import MatchInfo
from posescore.library.store.plain import utf8
from posescore.scoring.proposal import Tally
from posescore.terms import Athlete
from posescore.words import LANGUAGES, WORDS, clock_words, language, phrase, trade

MARGIN_MM: Final = 14.0
PICTURE_MM: Final = 74.0
LINE_MM: Final = 4.6
_FONT: Final = "DejaVu"
_PAGES: Final = "\u2045pages\u2046"
"""Stands for the number of pages until it is known; nobody's name."""
INK_OF_WORDS: Final = "#1c2426"
_DARK: Final = INK_OF_WORDS
_SOFT: Final = "#46545a"
_DOUBT: Final = "#6b4e00"


def report_pdf(report: Report) -> bytes:
    """The report as PDF, A4; the first page alone says how the match stands."""
    paper = Paper(report.match.info.title)
    _first_page(paper, report)
    paper.add_page()
    awards, proposed = report.moments
    _moments(
        paper, phrase("Every award"), awards, phrase("No points are confirmed."), report.no_pictures
    )
    if proposed:
        _moments(paper, phrase("Proposed, not confirmed"), proposed, "")
    if report.behind:
        _moments(paper, WORDS["ended"]["behind_heading"], report.behind, "")
    nothing = phrase("Nothing of the kind was seen.")
    _moments(paper, phrase("What nearly scored, and what was missing"), report.near, nothing)
    _positions(paper, report)
    _differences(paper, report)
    paper.heading(WORDS["unseen"]["heading"])
    for line in report.unseen:
        paper.say(line)
    paper.heading("Safety")
    paper.say(WORDS["notes"]["safety"])
    if report.sources:
        paper.say(report.sources, soft=True)
    rules = f"{phrase('Rules:')} {report.review.rules}."
    made = f"{report.shown_text} {rules} {phrase('Made by PoseScore')} {__version__}."
    paper.say(made.strip(), soft=True)
    return paper.finished()


def font_folder() -> Path:
    """Where the DejaVu fonts lie that matplotlib brings.

    Raises
    ------
    MissingPartError
        When they are not there.
    """
    found = find_spec("matplotlib")
    folder = Path(found.origin or "").parent / "mpl-data" / "fonts" / "ttf" if found else Path()
    if not (folder / "DejaVuSans.ttf").is_file():
        raise MissingPartError("the fonts for PDF are missing: install matplotlib again.")
    return folder


class Paper(FPDF):
    """A4 pages with a title, page numbers and the report's kinds of text."""

    def __init__(self, title: str) -> None:
        super().__init__(format="A4")
        fonts = font_folder()
        self.add_font(_FONT, "", fonts / "DejaVuSans.ttf")
        self.add_font(_FONT, "B", fonts / "DejaVuSans-Bold.ttf")
        self.set_margin(MARGIN_MM)
        self.set_auto_page_break(True, MARGIN_MM + 4)
        self.set_title(f"{phrase('Report')}: {utf8(title)}")
        self.set_lang(LANGUAGES[language()])
        self.set_creator(f"PoseScore {__version__}")
        self.set_creation_date(datetime.now(UTC))
        self.alias_nb_pages(_PAGES)
        self.short_title = title
        self.add_page()

    def finished(self) -> bytes:
        """The whole file."""
        made = bytes(self.output())
        self.put_away()
        return made

    def put_away(self) -> None:
        """Close the fonts' files, which otherwise stay open until somebody collects garbage."""
        for font in self.fonts.values():
            if isinstance(font, TTFFont):
                font.ttfont.close()

    def normalize_text(self, text: str) -> str:
        """What the font can draw; blanks for line breaks and the like, boxes for other letters."""
        font = self.fonts[_FONT.lower()]
        assert isinstance(font, TTFFont)
        known = font.cmap
        return "".join(c if ord(c) in known else " " if c < " " else "\u25a1" for c in text)

    def footer(self) -> None:
        """Title and page number."""
        self.set_y(-MARGIN_MM)
        self.ink(size=7.5, colour=_SOFT)
        stands, page = phrase("The referee's call stands."), phrase("{} of {}")
        text = f"{self.short_title[:80]} · {stands} · {page.format(self.page_no(), _PAGES)}"
        self.cell(0, 4, text, align="C")

    def ink(self, size: float = 9.5, bold: bool = False, colour: str = _DARK) -> None:
        """Choose the letters."""
        self.set_font(_FONT, "B" if bold else "", size)
        self.set_text_color(colour)

    def heading(self, text: str) -> None:
        """A heading, and an entry in the outline; never alone at the foot of a page."""
        if self.will_page_break(22):
            self.add_page()
        self.ln(2.5)
        self.start_section(text)
        self.ink(12, bold=True)
        self.multi_cell(0, 6.5, text, new_x=XPos.LMARGIN, new_y=YPos.NEXT)
        self.set_draw_color("#c9d2d3")
        self.line(self.l_margin, self.get_y(), self.w - self.r_margin, self.get_y())
        self.ln(1.5)

    def say(
        self,
        text: str,
        *,
        bold: bool = False,
        soft: bool = False,
        colour: str = "",
        left: float = 0,
    ) -> None:
        """A paragraph; ``left`` is where it starts, mm."""
        self.ink(8 if soft else 9.5, bold, colour or (_SOFT if soft else _DARK))
        self.set_x(left or self.l_margin)
        height_mm = self.line_height()
        self.multi_cell(0, height_mm, text, align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT)

    def line_height(self, height_mm: float = LINE_MM) -> float:
        """Height of a line, mm."""
        return height_mm

    def height_of(self, text: str, bold: bool, left: float) -> float:
        """How much room :meth:`say` would take, mm."""
        self.ink(bold=bold)
        self.set_x(left)
        lines = self.multi_cell(0, LINE_MM, text, align="L", dry_run=True, output="LINES")
        assert isinstance(lines, list)
        return LINE_MM * len(lines)


def _about(info: MatchInfo, division: str) -> str:
    words = [
        info.event,
        f"{phrase('mat')} {info.mat}" if info.mat else "",
        str(info.held_on or ""),
        division,
    ]
    return " · ".join(word for word in words if word)


def _first_page(paper: Paper, report: Report) -> None:
    info, review, names = report.match.info, report.review, report.names
    paper.ink(17, bold=True)
    paper.multi_cell(0, 8, info.title, new_x=XPos.LMARGIN, new_y=YPos.NEXT)
    paper.say(_about(info, report.division), soft=True)
    for athlete in Athlete:
        known = info.athlete(athlete)
        more = [
            phrase("{colour} gi", colour=known.gi_colour) if known.gi_colour else "",
            known.belt and phrase("{colour} belt", colour=known.belt),
        ]
        text = ", ".join(word for word in (names[athlete], *more) if word)
        paper.say(f"{athlete}: {text}", bold=True, colour=INK[athlete])
    paper.heading(phrase("Score"))
    for number, line in enumerate(report.ending):
        paper.say(line, bold=not number)
    _score(paper, phrase("Confirmed by people"), review.confirmed_score, names, False)
    paper.say(standing_words(review, names))
    if review.undecided and report.with_proposed:
        paper.ln(2)
        _score(
            paper,
            phrase("Proposed only: if every proposal stood"),
            review.proposed_score,
            names,
            True,
        )
        paper.say(result_words(review.proposed_result, names), colour=_DOUBT)
    if review.undecided:
        paper.say(waiting_words(review), colour=_DOUBT)
    _plots(paper, report)
    paper.ln(1)
    _award_table(paper, report.awards, names)
    paper.ln(2)
    paper.say(WORDS["notes"]["safety"], soft=True)


def _score(
    paper: Paper, title: str, score: Mapping[Athlete, Tally], names: Mapping[Athlete, str],
    proposed: bool,
) -> None:  # fmt: skip
    """A frame with the numbers: full for what people confirmed, dashed for what they did not."""
    top, width = paper.get_y(), paper.epw
    height = 7 + 6.5 * len(score)
    paper.set_draw_color(_DOUBT if proposed else _DARK)
    paper.set_line_width(0.4 if proposed else 0.9)
    if proposed:
        paper.set_dash_pattern(2, 1.5)
    paper.rect(paper.l_margin, top, width, height)
    paper.set_dash_pattern()
    paper.set_line_width(0.2)
    paper.set_y(top + 1)
    left = paper.l_margin + 2
    paper.say(title, bold=True, colour=_DOUBT if proposed else "", left=left)
    for athlete, tally in score.items():
        paper.set_x(left)
        paper.ink(
            11 if proposed else 13, bold=not proposed, colour=_DOUBT if proposed else INK[athlete]
        )
        paper.cell(16, 6.5, f"{tally.points}")
        paper.ink(9.5)
        paper.cell(
            0,
            6.5,
            f"{phrase('points')}, {tally_words(tally)}: {athlete}, {names[athlete]}",
            new_x=XPos.LMARGIN,
            new_y=YPos.NEXT,
        )
    paper.set_y(top + height + 1.5)


def _plots(paper: Paper, report: Report) -> None:
    """Drawn beside each other; words for those who cannot see them stand in the outline."""
    width, height = paper.epw / 2 - 2, 42.0
    confirmed, proposed = report.plots(width, height, 7)
    shown = [(phrase("Points over time, confirmed"), confirmed, report.summary.curve)]
    if report.review.undecided and report.with_proposed:
        curve = report.summary.proposed_curve
        shown.append((phrase("Points over time, if every proposal stood"), proposed, curve))
    paper.ln(2)
    top = paper.get_y()
    for number, (title, plot, _) in enumerate(shown):
        left = paper.l_margin + number * (width + 4)
        paper.ink(8, colour=_SOFT)
        paper.set_xy(left, top)
        paper.cell(width, 4, title)
        _plot(paper, plot, left, top + 4)
    paper.set_y(top + height + 5)
    for title, _, curve in shown:
        paper.say(f"{title}: {curve_words(curve, report.names)}", soft=True)


def _plot(paper: Paper, plot: Plot, left: float, top: float) -> None:
    paper.ink(6.5, colour=_SOFT)
    for points, y in plot.heights:
        paper.set_draw_color("#d5dcdd")
        paper.line(left + plot.left, top + y, left + plot.width - plot.left, top + y)
        paper.text(left + plot.left - 4.5, top + y + 0.8, str(points))
    for time_s, x in plot.instants:
        words = f"{int(time_s) // 60}:{int(time_s) % 60:02d}"
        paper.text(left + x - 2, top + plot.bottom + 4, words)
    for athlete, corners in plot.lines.items():
        paper.set_draw_color(INK[athlete])
        paper.set_line_width(0.7)
        if athlete is Athlete.B:
            paper.set_dash_pattern(2, 1.2)
        paper.polyline([(left + x, top + y) for x, y in corners])
        paper.set_dash_pattern()
        paper.ink(8, bold=True, colour=INK[athlete])
        x, y = plot.labels[athlete]
        paper.text(left + x, top + y + 1, str(athlete))
    paper.set_line_width(0.2)


def _award_table(paper: Paper, awards: Sequence[LineText], names: Mapping[Athlete, str]) -> None:
    if not awards:
        paper.say(phrase("Nothing is confirmed yet."))
        return
    paper.ink(8)
    paper.set_draw_color("#c9d2d3")
    with paper.table(
        col_widths=(10, 26, 34, 12, 26), line_height=4.4, text_align="LEFT",
        borders_layout="HORIZONTAL_LINES", padding=0.6,
    ) as table:  # fmt: skip
        table.row([phrase(head) for head in ("Time", "Athlete", "Award", "Clause", "Confirmed by")])
        for each in awards:
            who = f"{each.athlete}: {names[each.athlete]}" if each.athlete else ""
            table.row((each.at, who, each.title, each.clause, each.word))


def _moments(
    paper: Paper, title: str, shown: Sequence[LineText], nothing: str, note: str = ""
) -> None:  # fmt: skip
    paper.heading(title)
    if note:
        paper.say(note, soft=True)
    if not shown:
        paper.say(nothing)
    for each in shown:
        _moment(paper, each)


def _moment(paper: Paper, shown: LineText) -> None:
    """Picture on the left, words on the right, never torn apart by the end of a page."""
    left = paper.l_margin + PICTURE_MM + 4 if shown.jpeg else paper.l_margin
    words = _words(shown)
    picture_mm = PICTURE_MM * shown.height_px / shown.width_px if shown.jpeg else 0.0
    words_mm = sum(paper.height_of(text, bold, left) for text, bold, _ in words)
    if paper.will_page_break(max(picture_mm, words_mm) + 4):
        paper.add_page()
    top = paper.get_y() + 1.5
    if shown.jpeg:
        paper.image(
            io.BytesIO(shown.jpeg), x=paper.l_margin, y=top, w=PICTURE_MM, h=picture_mm,
            alt_text=utf8(shown.picture_text),
        )  # fmt: skip
    paper.set_y(top)
    for text, bold, colour in words:
        paper.say(text, bold=bold, colour=colour, left=left)
    paper.set_y(max(paper.get_y(), top + picture_mm) + 2)


def _words(shown: LineText) -> list[tuple[str, bool, str]]:
    """Text, whether it is bold, and its colour ("" for the usual one)."""
    doubt = "" if shown.line.item.decision is not None else _DOUBT
    whose = f": {shown.athlete}, {shown.athlete_name}" if shown.athlete else ""
    words = [
        (f"{shown.line.number}. {shown.title}{whose}", True, ""),
        (shown.word + (f", {shown.decided_at}" if shown.decided_at else ""), bool(doubt), doubt),
        (shown.why, False, ""),
    ]
    for criterion in shown.missing:
        words.append(
            (
                f"{phrase('Missing:')} {criterion.name} ({phrase('clause')} {criterion.clause}).",
                True,
                "",
            )
        )
        words.append((f"{phrase('Seen:')} {criterion.seen}.", False, ""))
    words.append((f"{phrase('Reason given:')} {shown.reason}" if shown.reason else "", False, ""))
    words.append((shown.note, False, ""))
    clause = f" · {phrase('clause')} {shown.clause}" if shown.clause else ""
    words.append((f"{shown.when}{clause} · {phrase('shown by')} {shown.stretch}", False, _SOFT))
    return [each for each in words if each[0]]


def _positions(paper: Paper, report: Report) -> None:
    paper.heading(phrase("Time in each position"))
    paper.say(phrase("Seconds on top or behind, from the holds as they stand."), soft=True)
    paper.ink(8.5)
    with paper.table(
        col_widths=(30, 24, 24, 16), line_height=4.6, padding=0.6, num_heading_rows=1,
        text_align=("LEFT", "RIGHT", "RIGHT", "RIGHT"), borders_layout="HORIZONTAL_LINES",
    ) as table:  # fmt: skip
        names = [f"{athlete}: {name}" for athlete, name in report.names.items()]
        table.row((phrase("Position"), *names, phrase("Neither")))
        for each in report.summary.positions:
            seconds = [*(each.upper_s[athlete] for athlete in Athlete), each.nobody_s]
            cells = [f"{length:.1f}" if length else "" for length in seconds]
            table.row((trade(each.position), *cells))


def _differences(paper: Paper, report: Report) -> None:
    rows, heads = report.differences, WORDS["differences"]
    if not rows:
        return
    paper.heading(heads["heading"])
    paper.ink(8)
    with paper.table(
        col_widths=(10, 26, 28, 28, 22), line_height=4.4, text_align="LEFT",
        borders_layout="HORIZONTAL_LINES", padding=0.6,
    ) as table:  # fmt: skip
        table.row([heads[name] for name in ("moment", "what", "proposed", "confirmed", "board")])
        for row in rows:
            at = heads["end"] if row.time_s is None else clock_words(row.time_s)
            table.row((at, row.what, row.proposed, row.confirmed, row.board))

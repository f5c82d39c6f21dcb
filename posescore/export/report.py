"""A report of one match for people to keep: HTML of one file, or PDF."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final

from jinja2 import Environment, PackageLoader, StrictUndefined

from posescore import __version__
from posescore.errors import InputError, NotFoundError
from posescore.export.asks import sources_of
from posescore.export.score_drawing import INK, Plot, plot_of, points_text
from posescore.export.shots import USUAL, Shots, Showing, shots_of
from posescore.export.summary import ScoreStep, Summary, summary_of
from posescore.export.telling import Told, tell
from posescore.export.words import (
    SAFETY,
    clock_words,
    result_words,
    standing_words,
    tally_words,
    waiting_words,
)
from posescore.footage.atomic import write_whole
from posescore.library.library import Library
from posescore.library.match import Match
from posescore.library.review.review import Review
from posescore.library.store.plain import utf8
from posescore.terms import Athlete, Progress, silent

FACES_HIDDEN: Final = (
    "Both athletes' faces are hidden as far as their keypoints are right; the referee's and the "
    "audience's are not."
)


_NOT_IN_HTML: Final = re.compile(r"[\x00-\x08\x0b-\x0c\x0e-\x1f\x7f-\x9f\ufdd0-\ufdef\ufffe\uffff]")


@dataclass(frozen=True, slots=True)
class Report:
    """Everything a report shows of a match, before it is laid out.

    An advantage for what nearly scored is among the awards (or proposed) and the near misses.
    """

    match: Match
    review: Review
    names: Mapping[Athlete, str]
    summary: Summary
    awards: Sequence[Told]
    proposed: Sequence[Told]
    near: Sequence[Told]
    no_pictures: str
    showing: Showing

    @property
    def division(self) -> str:
        """The division in words, "" where unknown."""
        return " ".join((self.review.division or {}).values())

    @property
    def moments(self) -> tuple[Sequence[Told], Sequence[Told]]:
        """Awards and proposals that are told by themselves, not among the near misses."""
        near = {told.line.number for told in self.near}
        one, two = (
            [told for told in group if told.line.number not in near]
            for group in (self.awards, self.proposed)
        )
        return one, two

    @property
    def sources(self) -> str:
        """Where the clauses of all lines can be read."""
        told = (*self.awards, *self.proposed, *self.near)
        clauses = [each.clause for each in told]
        clauses += [criterion.clause for each in told for criterion in each.missing]
        return sources_of(clauses, self.review.rules) if told else ""

    @property
    def shown_text(self) -> str:
        """What was done to the pictures, in words."""
        return FACES_HIDDEN if self.showing.hide_faces and not self.no_pictures else ""

    def plots(self, width: float, height: float, margin: float) -> tuple[Plot, Plot]:
        """The curves of the confirmed and of the proposed points, on the same scale."""
        summary, end_s = self.summary, self.review.clock.end_s
        most = max(max(step.points.values()) for step in (*summary.curve, *summary.proposed_curve))
        one, two = (
            plot_of(curve, end_s, width, height, margin, most)
            for curve in (summary.curve, summary.proposed_curve)
        )
        return one, two


def report_of(
    library: Library,
    match_id: int,
    *,
    opinion: str = "",
    showing: Showing = USUAL,
    progress: Progress = silent,
) -> Report:
    """Gather a report. Where the footage is gone it has no pictures, and says so.

    Raises
    ------
    NotFoundError
        When there is no such match, or it was never analysed.
    InputError
        When faces are to be hidden and cannot be.
    """
    match, review = library.match(match_id), library.review(match_id, opinion)
    shots, no_pictures = shots_or_why(library, match, review, showing)
    names = {athlete: match.info.name_of(athlete) for athlete in Athlete}
    summary = summary_of(review, match)
    groups = (summary.awards, summary.proposed, summary.near)
    done, total = 0, len({line.number for lines in groups for line in lines})

    def one_more() -> None:
        nonlocal done
        done += 1
        progress("taking pictures", done, total)

    near = tell(summary.near, names, shots, review, one_more)
    known = {told.line.number: told for told in near}
    awards, proposed = (
        [known.get(x.number) or tell([x], names, shots, review, one_more)[0] for x in lines]
        for lines in groups[:2]
    )
    return Report(
        match, review, names, summary, awards, proposed, near, no_pictures, showing
    )  # fmt: skip


def shots_or_why(
    library: Library, match: Match, review: Review, showing: Showing
) -> tuple[Shots | None, str]:
    """Pictures, or None and a sentence on why there are none."""
    try:
        return shots_of(library, match, review, showing, quick=True), ""
    except NotFoundError:
        return None, "The footage was not at hand, so there are no pictures."


def report_html(report: Report) -> str:
    """The report as one HTML file that needs nothing else."""
    confirmed, proposed = report.plots(480, 170, 26)
    names = report.names
    return page(
        "report.html",
        heading="Report",
        info=report.match.info,
        review=report.review,
        names=names,
        division=report.division,
        told=report,
        positions=report.summary.positions,
        plots={"confirmed": confirmed, "proposed": proposed},
        curve_text=curve_words(report.summary.curve, names),
        proposed_curve_text=curve_words(report.summary.proposed_curve, names),
        confirmed_result=standing_words(report.review, names),
        waiting=waiting_words(report.review),
        proposed_result=result_words(report.review.proposed_result, names),
        no_pictures=report.no_pictures,
        shown_text=report.shown_text,
    )


def curve_words(steps: Sequence[ScoreStep], names: Mapping[Athlete, str]) -> str:
    """A curve for those who cannot see it."""
    said = [
        f"{clock_words(step.time_s)} "
        + " to ".join(f"{names[athlete]} {step.points[athlete]}" for athlete in Athlete)
        for step in steps
    ]
    return "Points over time: " + "; ".join(said) + "."


@cache
def _templates() -> Environment:
    made = Environment(
        loader=PackageLoader("posescore.export"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["corners"] = points_text
    made.globals.update(
        minutes=lambda time_s: f"{int(time_s) // 60}:{int(time_s) % 60:02d}",
        seconds=lambda length_s: f"{length_s:.1f}" if length_s else "",
        ink={str(athlete): colour for athlete, colour in INK.items()},
        safety=SAFETY,
        tally_words=tally_words,
        version=__version__,
    )
    return made


def page(template: str, **values: object) -> str:
    """A page of one of the templates; every value is escaped.

    Characters that HTML does not allow, as broken file names bring them, become U+FFFD.
    """
    return _NOT_IN_HTML.sub("\ufffd", utf8(_templates().get_template(template).render(values)))


def write_report(
    library: Library,
    match_id: int,
    out: Path,
    *,
    opinion: str = "",
    showing: Showing = USUAL,
    progress: Progress = silent,
) -> Path:
    """Write a report; the suffix, ``.html`` or ``.pdf``, chooses the form.

    Raises
    ------
    InputError
        When the suffix is another, or faces are to be hidden and cannot be.
    NotFoundError
        When there is no such match, or it was never analysed.
    StorageError
        When the file cannot be written; one that was there before is still there.
    """
    suffix = out.suffix.lower()
    if suffix not in (".html", ".htm", ".pdf") or out.is_dir():
        raise InputError(f"{out}: name a file that ends in .html or .pdf.")
    report = report_of(
        library, match_id, opinion=opinion, showing=showing, progress=progress
    )  # fmt: skip
    if suffix == ".pdf":
        from posescore.export.report_pdf import report_pdf

        write_whole(out, report_pdf(report))
    else:
        write_whole(out, report_html(report).encode("utf-8"))
    return out

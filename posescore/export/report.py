"""A report of one match for people to keep: HTML of one file, or PDF."""

from __future__ import annotations

from pathlib import Path

from posescore.errors import InputError
from posescore.export.page import page
from posescore.export.report_content import Report, curve_words, report_of
from posescore.export.sentences import result_words, standing_words, waiting_words
from posescore.export.shots import USUAL, Showing
from posescore.footage.atomic import write_whole
from posescore.library.library import Library
from posescore.terms import Progress, silent
from posescore.words import phrase


def report_html(report: Report) -> str:
    """The report as one HTML file that needs nothing else."""
    confirmed, proposed = report.plots(480, 170, 26)
    names, proposed_curve = report.names, report.summary.proposed_curve
    return page(
        "report.html",
        heading=phrase("Report"),
        info=report.match.info,
        review=report.review,
        names=names,
        division=report.division,
        report=report,
        positions=report.summary.positions,
        plots={"confirmed": confirmed, "proposed": proposed},
        curve_text=f"{phrase('Points over time:')} {curve_words(report.summary.curve, names)}",
        proposed_curve_text=f"{phrase('Points over time:')} {curve_words(proposed_curve, names)}",
        confirmed_result=standing_words(report.review, names),
        with_proposed=report.with_proposed,
        waiting=waiting_words(report.review),
        proposed_result=result_words(report.review.proposed_result, names),
        no_pictures=report.no_pictures,
        shown_text=report.shown_text,
    )


def write_report(
    library: Library,
    match_id: int,
    out: Path,
    *,
    opinion: str = "",
    proposed: bool = True,
    showing: Showing = USUAL,
    progress: Progress = silent,
) -> Path:
    """Write a report; the suffix, ``.html`` or ``.pdf``, chooses the form.

    ``proposed`` also takes in what nobody decided on yet, marked as that; else a report says only
    how many lines wait.

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
        library, match_id, opinion=opinion, proposed=proposed, showing=showing, progress=progress
    )  # fmt: skip
    if suffix == ".pdf":
        from posescore.export.report_pdf import report_pdf

        write_whole(out, report_pdf(report))
    else:
        write_whole(out, report_html(report).encode("utf-8"))
    return out

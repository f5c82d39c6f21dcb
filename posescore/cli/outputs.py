"""The commands that write what a review ended in: logs, reports, clips, lessons, comparisons."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from posescore.cli.options import (
    OUTPUT,
    amount_option,
    json_option,
    library_option,
    match_argument,
    open_library,
    out_option,
    print_json,
    say_written,
)

FORMATS = ("csv", "json", "webvtt", "holds-csv", "frames-csv", "coco")
"""Those of the exports, said here so that help needs no heavy import."""


@click.command()
@match_argument
@click.option(
    "--format",
    "kind",
    type=click.Choice(FORMATS),
    required=True,
    help="csv, json, webvtt: the score log; holds-csv, frames-csv: positions by hold or frame; "
    "coco: keypoints and the position of every frame.",
)
@click.option("--out", type=OUTPUT, help="File to write.  [default: print]")
@click.option("--opinion", default="", help="Whose own review.  [default: the shared log]")
@library_option
def export(
    match: str, kind: str, out: Path | None, opinion: str, library_folder: Path | None
) -> None:
    """Write the score log, or the positions, of a MATCH (its number or title)."""
    from posescore.export.export import export_match, export_text
    from posescore.library.review.agreement import check_opinion

    library = open_library(library_folder)
    found = library.find_match(match)
    check_opinion(library, found.id, opinion)
    if out is None:
        sys.stdout.buffer.write(export_text(library, found.id, kind, opinion).encode())
    else:
        export_match(library, found.id, kind, out, opinion)
        say_written(out)


_hide_faces = click.option(
    "--hide-faces", is_flag=True, help="Hide every face that is found, and the names."
)
_no_skeletons = click.option("--no-skeletons", is_flag=True, help="Leave the skeletons away.")


@click.command()
@match_argument
@out_option("File to write: .html or .pdf.")
@click.option("--proposed", is_flag=True, help="Also what nobody has confirmed yet.")
@_hide_faces
@_no_skeletons
@library_option
def report(
    match: str, out: Path, proposed: bool, hide_faces: bool, no_skeletons: bool,
    library_folder: Path | None,
) -> None:  # fmt: skip
    """Write a report of a MATCH: score, awards with pictures, near misses, time in positions."""
    from posescore.cli.render import progress_bar
    from posescore.export.report import write_report
    from posescore.export.shots import Showing

    library = open_library(library_folder)
    showing = Showing(skeletons=not no_skeletons, hide_faces=hide_faces)
    with progress_bar(quiet=False) as told:
        write_report(
            library, library.find_match(match).id, out, proposed=proposed, showing=showing,
            progress=told,
        )  # fmt: skip
    say_written(out)


@click.command()
@match_argument
@out_option("Folder for the clips.")
@amount_option("--before", 60, 5.0, "Seconds before an award.", "before_s")
@amount_option("--after", 60, 2.0, "Seconds after it.", "after_s")
@click.option("--proposed", is_flag=True, help="Also what nobody has confirmed yet.")
@click.option("--whole", is_flag=True, help="The whole match as one film instead.")
@_hide_faces
@_no_skeletons
@library_option
def clips(
    match: str,
    out: Path,
    before_s: float,
    after_s: float,
    proposed: bool,
    whole: bool,
    hide_faces: bool,
    no_skeletons: bool,
    library_folder: Path | None,
) -> None:
    """Write a film for every confirmed award of a MATCH, or the whole match with skeletons."""
    from posescore.cli.render import progress_bar
    from posescore.export.clips import write_annotated, write_clips
    from posescore.export.shots import Showing

    library = open_library(library_folder)
    found = library.find_match(match)
    showing = Showing(skeletons=not no_skeletons, hide_faces=hide_faces)
    with progress_bar(quiet=False) as progress:
        if whole:
            film = out / "match.mp4"
            out.mkdir(parents=True, exist_ok=True)
            write_annotated(library, found.id, film, showing=showing, progress=progress)
            written = [film]
        else:
            written = write_clips(
                library, found.id, out, before_s=before_s, after_s=after_s, proposed=proposed,
                showing=showing, progress=progress,
            )  # fmt: skip
    for path in written:
        click.echo(str(path))
    if not written:
        click.echo("Nothing is confirmed yet: confirm awards first, or add --proposed.")


@click.command()
@match_argument
@out_option("HTML file to write.")
@click.option("--proposed", is_flag=True, help="Also what nobody has confirmed yet.")
@_hide_faces
@library_option
def lesson(
    match: str, out: Path, proposed: bool, hide_faces: bool, library_folder: Path | None
) -> None:
    """Write a MATCH as a lesson: one file with a film and two sentences for every moment."""
    from posescore.cli.render import progress_bar
    from posescore.export.lesson import write_lesson
    from posescore.export.shots import Showing

    library = open_library(library_folder)
    with progress_bar(quiet=False) as told:
        write_lesson(
            library, library.find_match(match).id, out, proposed=proposed,
            showing=Showing(hide_faces=hide_faces),
            progress=told,
        )  # fmt: skip
    say_written(out)


@click.command()
@match_argument
@click.argument("one")
@click.argument("other", default="")
@json_option("the comparison")
@library_option
def compare(match: str, one: str, other: str, as_json: bool, library_folder: Path | None) -> None:
    """Compare two opinions of a MATCH: ONE and OTHER are their names (default: the shared log)."""
    from posescore.cli.render import print_agreement
    from posescore.library.review.agreement import compare_opinions

    library = open_library(library_folder)
    found = compare_opinions(library, library.find_match(match).id, one, other)
    print_json(found.to_json()) if as_json else print_agreement(found)


@click.command()
@click.argument("name")
@click.option(
    "--out",
    type=OUTPUT,
    help="Page with plots (.html), JSON file, or CSV files.  [default: print JSON]",
)
@library_option
def athlete(name: str, out: Path | None, library_folder: Path | None) -> None:
    """Sum up an athlete across matches, from confirmed logs alone."""
    from posescore.export.across import across_json, across_matches
    from posescore.export.across_page import write_across

    library = open_library(library_folder)
    if out is None:
        click.echo(across_json(across_matches(library, name)), nl=False)
    else:
        for path in write_across(library, name, out):
            click.echo(str(path))


COMMANDS = (export, report, clips, lesson, compare, athlete)
"""Every command of this module."""

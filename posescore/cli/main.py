"""The commands. Thin: everything heavy is imported inside the command that needs it."""

from __future__ import annotations

import errno
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click

from posescore import __version__
from posescore.cli.evaluate import benchmark, evaluate
from posescore.cli.library import library
from posescore.cli.options import (
    FILE,
    estimator_option,
    json_option,
    library_option,
    open_library,
    out_option,
    print_json,
    say_written,
)
from posescore.cli.outputs import COMMANDS as OUTPUTS
from posescore.errors import InputError, OwnFailureError, PoseScoreError, StorageError

if TYPE_CHECKING:
    from posescore.library.library import Library
    from posescore.library.match import Match, MatchInfo


INTERRUPTED = 130
"""Exit code of what a person stopped with Ctrl-C: 128 and the number of the signal."""
IN_PART = 3
"""Exit code of a folder of which some could not be read: the rest was done."""
_STOPPED = {
    "analyze": "what was found so far is kept; the same command goes on from there.",
    "demo": "what was found so far is kept; the same command goes on from there.",
    "review": "everything was saved as you went.",
}


class _Commands(click.Group):
    """A group whose failures are one sentence and an exit code, never a traceback."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command; one that is stopped with Ctrl-C says what stays."""
        try:
            return super().invoke(ctx)
        except EOFError as error:  # click would say no more than "Aborted!"
            raise OwnFailureError(
                "Something in PoseScore failed (EOFError); run again with POSESCORE_DEBUG=1 to see "
                "where, and report it."
            ) from error
        except KeyboardInterrupt:
            stays = _STOPPED.get(
                ctx.invoked_subcommand or "", "nothing half-made was left; run it again to do it."
            )
            click.echo(f"posescore: stopped; {stays}", err=True)
            raise click.exceptions.Exit(INTERRUPTED) from None

    def main(self, *args: Any, **kwargs: Any) -> Any:
        if os.environ.get("POSESCORE_DEBUG"):
            return super().main(*args, **kwargs)
        try:
            return super().main(*args, **kwargs)
        except BrokenPipeError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            sys.exit(0)
        except (PoseScoreError, OSError, MemoryError) as error:
            _give_up(_as_ours(error))
        except KeyboardInterrupt:
            sys.exit(INTERRUPTED)  # before any command began
        except Exception as error:  # our own fault: still one sentence
            kind = type(error).__name__
            _give_up(
                OwnFailureError(
                    f"Something in PoseScore failed ({kind}: {_one_line(error)}); "
                    "run again with POSESCORE_DEBUG=1 to see where, and report it."
                )
            )


def _one_line(error: BaseException) -> str:
    return " ".join(str(error).split())[:200]


def _as_ours(error: Exception) -> PoseScoreError:
    if isinstance(error, PoseScoreError):
        return error
    if isinstance(error, MemoryError):
        return OwnFailureError("There is not enough memory; close other programs and try again.")
    name = getattr(error, "filename", None) or "the disk"
    if getattr(error, "errno", None) in (errno.ENOSPC, errno.EDQUOT):
        return StorageError(f"{name}: the disk is full; free some space and run this again.")
    if getattr(error, "errno", None) in (errno.EROFS, errno.EACCES, errno.EPERM):
        return StorageError(f"{name}: permission was refused; choose a place you may write to.")
    return StorageError(f"{name}: {_one_line(error)}; check the path and try again.")


def _give_up(error: PoseScoreError) -> NoReturn:
    # A file's name may hold line breaks, or what a terminal takes for orders.
    said = "".join(c if c.isprintable() else " " for c in str(error))
    click.echo(f"posescore: {said}", err=True)
    sys.exit(error.exit_code)


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="posescore")
def main() -> None:
    """Propose a score log for sport jiu-jitsu footage; a person confirms it.

    Everything runs on this machine and nothing is uploaded. The referee's call stands.
    """


def _analysed(
    library: Library, video: Path, info: MatchInfo, settings: dict[str, object], quiet: bool
) -> Match:
    from posescore.analysis.job import analyze_now
    from posescore.cli.render import progress_bar

    with progress_bar(quiet) as progress:
        return analyze_now(
            library, video, info, settings, progress, warn=lambda said: click.echo(said, err=True)
        )


def _say_what_stayed(match: Match, given: dict[str, Any]) -> None:
    """Say which options were void: a match that the library knew stays as people described it."""
    kept = match.info
    known = {
        "title": kept.title, "event": kept.event, "rules": kept.rules,
        "a_name": kept.athlete_a.name, "b_name": kept.athlete_b.name,
        "a_gi": kept.athlete_a.gi_colour, "b_gi": kept.athlete_b.gi_colour,
        "age": (kept.division or {}).get("age"), "belt": (kept.division or {}).get("belt"),
    }  # fmt: skip
    usual = {"rules": "sport-jiu-jitsu"}
    void = [
        f"--{name.replace('_', '-')}"
        for name, value in known.items()
        if given[name] and given[name] not in (value, usual.get(name))
    ]
    if void:
        click.echo(
            f"posescore: this footage is match {match.id} ({kept.title}) already, and "
            f"{', '.join(void)} changed nothing of it: change its details on its page.",
            err=True,
        )


def _division(age: str | None, belt: str | None) -> dict[str, str] | None:
    if age is None:
        if belt is not None:
            raise InputError("--belt: give the age class too, with --age.")
        return None
    return {"age": age, **({"belt": belt} if belt else {})}


@main.command()
@library_option
@click.option("--no-serve", is_flag=True, help="Stop before the review page.")
@click.option("--no-open", is_flag=True, help="Do not open a browser.")
@click.option("--port", type=int, help="Port of the review page.")
def demo(library_folder: Path | None, no_serve: bool, no_open: bool, port: int | None) -> None:
    """Analyse the sample match, print its score log and open the review page."""
    from posescore.analysis.sample import sample_match
    from posescore.cli.render import print_score_log
    from posescore.web.server import serve

    library = open_library(library_folder)
    match = _analysed(library, *sample_match(), {}, quiet=False)
    print_score_log(match, library.review(match.id))
    if not no_serve:
        serve(library, port=port, open_browser=not no_open, start_path=f"/match/{match.id}")


@main.command()
@click.argument("video", type=FILE)
@click.option(
    "--track",
    "track_file",
    type=FILE,
    help="Keypoints instead of the pose pass: Parquet track or COCO keypoints JSON.",
)
@click.option(
    "--rules",
    default="sport-jiu-jitsu",
    show_default=True,
    help="Rule set: a name, or a TOML file.",
)
@click.option("--age", help="Age class, for the match time: adult, juvenile, master 1 ...")
@click.option("--belt", help="Belt, for the match time.")
@click.option("--title", default="", help="Title in the library.  [default: the file's name]")
@click.option("--event", default="", help="Competition.")
@click.option("--a-name", default="", help="Name of athlete A.")
@click.option("--b-name", default="", help="Name of athlete B.")
@click.option("--a-gi", default="", help="Gi colour of athlete A; tells the slots apart.")
@click.option("--b-gi", default="", help="Gi colour of athlete B.")
@click.option("--every-frame", is_flag=True, help="Look at every frame: slower, finer.")
@click.option("--afresh", is_flag=True, help="Read the footage again, though keypoints are kept.")
@estimator_option
@json_option("the match, its holds and the proposed score log")
@library_option
def analyze(video: Path, library_folder: Path | None, as_json: bool, **given: Any) -> None:
    """Analyse a VIDEO, print the proposed score log and keep all of it in the library."""
    from posescore.cli.render import print_score_log, review_json
    from posescore.library.adding import title_of
    from posescore.library.match import AthleteInfo, MatchInfo

    info = MatchInfo(
        title=given["title"] or title_of(video.name),
        athlete_a=AthleteInfo(given["a_name"], given["a_gi"]),
        athlete_b=AthleteInfo(given["b_name"], given["b_gi"]),
        event=given["event"],
        division=_division(given["age"], given["belt"]),
        rules=given["rules"],
    )
    track = given["track_file"]
    settings = {
        "every_frame": given["every_frame"],
        "afresh": given["afresh"],
        "estimator": given["estimator"],
        "track_file": str(track.absolute()) if track else None,
    }
    library = open_library(library_folder)
    match = _analysed(library, video, info, settings, quiet=as_json)
    _say_what_stayed(match, given)
    review = library.review(match.id)
    if as_json:
        print_json(review_json(match, review))
    else:
        print_score_log(match, review)
        click.echo(f"Kept as match {match.id}; see it with: posescore review {match.id}")


@main.command()
@click.argument("match", required=False)
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
@click.option("--port", type=int, help="Port to listen on.")
@click.option("--no-open", is_flag=True, help="Do not open a browser.")
@click.option("--read-only", is_flag=True, help="Only look: nothing can be changed.")
@library_option
def review(
    match: str | None,
    host: str,
    port: int | None,
    no_open: bool,
    read_only: bool,
    library_folder: Path | None,
) -> None:
    """Open the library's pages: add matches and review them; or one MATCH (number or title)."""
    from posescore.web.server import serve

    library = open_library(library_folder, read_only)
    path = "/" if match is None else f"/match/{library.find_match(match).id}"
    serve(library, host=host, port=port, open_browser=not no_open, start_path=path)


@main.command()
@click.argument("log", type=FILE)
@json_option("the proposals, the score and the result")
def score(log: Path, as_json: bool) -> None:
    """Propose points for a score LOG: holds and events, written by hand or by a program."""
    from posescore.cli.render import print_ruling
    from posescore.scoring.log import read_log, ruling_to_json

    ruling = read_log(log).ruling()
    if as_json:
        print_json(ruling_to_json(ruling))
    else:
        print_ruling(ruling)


@main.command()
@click.argument("source", type=FILE)
@out_option("COCO keypoints JSON to write.")
@click.option("--every-frame", is_flag=True, help="Look at every frame of a video.")
@estimator_option
def pose(source: Path, out: Path, every_frame: bool, estimator: str) -> None:
    """Find both athletes' keypoints in a video, a picture or a folder of pictures.

    Pictures of a folder that cannot be read are named at the end, which then is exit code 3.
    """
    from posescore.cli.render import progress_bar
    from posescore.pose.passes import pose_file

    with progress_bar(quiet=False) as progress:
        found = pose_file(
            source,
            out,
            every_frame=every_frame,
            estimator=estimator,
            progress=progress,
        )
    say_written(out, f": {found.athletes} athletes in {found.pictures} pictures.")
    for sentence in found.unread:
        click.echo(f"posescore: left out: {sentence}", err=True)
    if found.unread:
        raise click.exceptions.Exit(IN_PART)


@main.command()
@click.argument("file", type=FILE)
@click.option("--smooth", is_flag=True, help="Judge the pictures as one film, not one by one.")
@json_option("one object a line")
def classify(file: Path, smooth: bool, as_json: bool) -> None:
    """Name the position in every picture of a keypoint FILE (COCO JSON or Parquet track)."""
    from posescore.analysis.pipeline import classify_file

    for line in classify_file(file, smooth=smooth):
        if as_json:
            print_json(line)
        else:
            share = line["probabilities"][line["position"]]
            side = f" ({line['upper']} on top)" if line["upper"] else ""
            click.echo(f"{line['frame']}\t{line['position']}{side}\t{share:.0%}")


for _command in (*OUTPUTS, library, evaluate, benchmark):
    main.add_command(_command)

"""The commands. Thin: everything heavy is imported inside the command that needs it."""

from __future__ import annotations

import errno
import json
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click

from posescore import __version__
from posescore.errors import InputError, OwnFailureError, PoseScoreError, StorageError

if TYPE_CHECKING:
    from posescore.library.library import Library
    from posescore.library.match import Match
    from posescore.pipeline import Request

_FILE = click.Path(path_type=Path)


class _Commands(click.Group):
    """A group whose failures are one sentence and an exit code, never a traceback."""

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
            click.echo("posescore: stopped; what was saved stays.", err=True)
            sys.exit(130)
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
    click.echo(f"posescore: {error}", err=True)
    sys.exit(error.exit_code)


def _library(folder: Path | None) -> Library:
    from posescore.library.library import Library

    return Library(folder)


_library_option = click.option(
    "--library", "library_folder", type=_FILE, envvar="POSESCORE_LIBRARY",
    help="Folder of the library.  [default: the user's data folder]",
)  # fmt: skip


def _json_option(what: str) -> Callable[[Any], Any]:
    return click.option("--json", "as_json", is_flag=True, help=f"Print {what} as JSON.")


def _print_json(data: object) -> None:
    click.echo(json.dumps(data, ensure_ascii=False))


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="posescore")
def main() -> None:
    """Propose a score log for sport jiu-jitsu footage; a person confirms it.

    Everything runs on this machine and nothing is uploaded. The referee's call stands.
    """


def _analysed(request: Request, library: Library, quiet: bool) -> Match:
    from posescore.pipeline import analyze
    from posescore.printing import progress_bar

    with progress_bar(quiet) as progress:
        return analyze(request, library, progress, warn=lambda said: click.echo(said, err=True))


def _division(age: str | None, belt: str | None) -> dict[str, str] | None:
    if age is None:
        if belt is not None:
            raise InputError("--belt: give the age class too, with --age.")
        return None
    return {"age": age, **({"belt": belt} if belt else {})}


@main.command()
@_library_option
@click.option("--no-serve", is_flag=True, help="Stop before the review page.")
@click.option("--no-open", is_flag=True, help="Do not open a browser.")
@click.option("--port", type=int, help="Port of the review page.")
def demo(library_folder: Path | None, no_serve: bool, no_open: bool, port: int | None) -> None:
    """Analyse the sample match, print its score log and open the review page."""
    from posescore.pipeline import sample_request
    from posescore.printing import print_score_log
    from posescore.web.server import serve

    library = _library(library_folder)
    match = _analysed(sample_request(), library, quiet=False)
    print_score_log(match, library.review(match.id))
    if not no_serve:
        serve(library, port=port, open_browser=not no_open, start_path=f"/match/{match.id}")


@main.command()
@click.argument("video", type=_FILE)
@click.option(
    "--track",
    "track_file",
    type=_FILE,
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
@_json_option("the match, its holds and the proposed score log")
@_library_option
def analyze(video: Path, library_folder: Path | None, as_json: bool, **given: Any) -> None:
    """Analyse a VIDEO, print the proposed score log and keep all of it in the library."""
    from posescore.library.match import AthleteInfo
    from posescore.pipeline import Request
    from posescore.printing import print_score_log, review_json

    request = Request(
        video=video,
        track_file=given["track_file"],
        rules=given["rules"],
        division=_division(given["age"], given["belt"]),
        title=given["title"],
        event=given["event"],
        athlete_a=AthleteInfo(given["a_name"], given["a_gi"]),
        athlete_b=AthleteInfo(given["b_name"], given["b_gi"]),
        every_frame=given["every_frame"],
    )
    library = _library(library_folder)
    match = _analysed(request, library, quiet=as_json)
    review = library.review(match.id)
    if as_json:
        _print_json(review_json(match, review))
    else:
        print_score_log(match, review)
        click.echo(f"Kept as match {match.id}; see it with: posescore review {match.id}")


@main.command()
@click.argument("match", required=False)
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
@click.option("--port", type=int, help="Port to listen on.")
@click.option("--no-open", is_flag=True, help="Do not open a browser.")
@_library_option
def review(
    match: str | None, host: str, port: int | None, no_open: bool, library_folder: Path | None
) -> None:
    """Open the review page of the library, or of one MATCH (its number or title)."""
    from posescore.web.server import serve

    library = _library(library_folder)
    path = "/" if match is None else f"/match/{library.find_match(match).id}"
    serve(library, host=host, port=port, open_browser=not no_open, start_path=path)


@main.command()
@click.argument("log", type=_FILE)
@_json_option("the proposals, the score and the result")
def score(log: Path, as_json: bool) -> None:
    """Propose points for a score LOG: holds and events, written by hand or by a program."""
    from posescore.printing import print_ruling
    from posescore.scoring.engine import propose
    from posescore.scoring.log import read_log, ruling_to_json

    given = read_log(log)
    ruling = propose(given.holds, given.events, given.rules, given.division)
    if as_json:
        _print_json(ruling_to_json(ruling))
    else:
        print_ruling(ruling)


@main.command()
@click.argument("source", type=_FILE)
@click.option("--out", type=_FILE, required=True, help="COCO keypoints JSON to write.")
@click.option("--every-frame", is_flag=True, help="Look at every frame of a video.")
def pose(source: Path, out: Path, every_frame: bool) -> None:
    """Find both athletes' keypoints in a video, a picture or a folder of pictures."""
    from posescore.pose.passes import pose_file
    from posescore.printing import progress_bar

    with progress_bar(quiet=False) as progress:
        found = pose_file(
            source,
            out,
            every_frame=every_frame,
            progress=lambda done, total: progress("finding both athletes", done, total),
        )
    click.echo(f"{out}: {found.athletes} athletes in {found.pictures} pictures.")


@main.command()
@click.argument("file", type=_FILE)
@click.option("--smooth", is_flag=True, help="Judge the pictures as one film, not one by one.")
@_json_option("one object a line")
def classify(file: Path, smooth: bool, as_json: bool) -> None:
    """Name the position in every picture of a keypoint FILE (COCO JSON or Parquet track)."""
    from posescore.pipeline import classify_file

    for line in classify_file(file, smooth=smooth):
        if as_json:
            _print_json(line)
        else:
            share = line["probabilities"][line["position"]]
            side = f" ({line['upper']} on top)" if line["upper"] else ""
            click.echo(f"{line['frame']}\t{line['position']}{side}\t{share:.0%}")


@main.command()
@click.argument("match")
@click.option(
    "--format", "kind", type=click.Choice(["csv", "json", "webvtt", "holds-csv"]), required=True
)
@click.option("--out", type=_FILE, help="File to write.  [default: print]")
@_library_option
def export(match: str, kind: str, out: Path | None, library_folder: Path | None) -> None:
    """Write the score log of a MATCH (its number or title)."""
    from posescore.export.export import export_match, export_text

    library = _library(library_folder)
    found = library.find_match(match)
    if out is None:
        click.get_binary_stream("stdout").write(export_text(library, found.id, kind).encode())
    else:
        export_match(library, found.id, kind, out)
        click.echo(str(out))


@main.command()
@click.option("--poses", type=_FILE, envvar="POSESCORE_POSES3D", help="The open pose set (.npz).")
@click.option(
    "--out",
    type=_FILE,
    default=Path("models/position_classifier.skops"),
    show_default=True,
    help="File of the weights; their card goes beside it.",
)
@click.option("--seed", type=int, default=0, show_default=True)
def train(poses: Path | None, out: Path, seed: int) -> None:
    """Train the position classifier on the open pose set, split by entry."""
    from posescore.position.training import train as train_classifier

    train_classifier(poses, out, seed=seed, say=click.echo)


@main.group()
def evaluate() -> None:
    """Measure a part against data with known answers."""


@evaluate.command("position")
@click.option("--poses", type=_FILE, envvar="POSESCORE_POSES3D", help="The open pose set (.npz).")
@_json_option("the table")
def evaluate_position(poses: Path | None, as_json: bool) -> None:
    """Measure the position classifier on held-back entries of the open pose set."""
    from posescore.position.evaluation import evaluate as measure
    from posescore.position.evaluation import table

    figures = measure(poses)
    if as_json:
        _print_json(figures)
    else:
        click.echo("\n".join(table(figures)))


@evaluate.command("pose")
@click.argument("truth", type=_FILE)
@click.option("--pictures", type=_FILE, help="Folder of the pictures.  [default: beside TRUTH]")
@click.option("--predicted", type=_FILE, help="COCO keypoints to measure instead of our own.")
@_json_option("the table")
def evaluate_pose(
    truth: Path, pictures: Path | None, predicted: Path | None, as_json: bool
) -> None:
    """Measure keypoints on labelled pictures: TRUTH is COCO keypoints JSON."""
    from posescore.pose.evaluation import evaluate_pose as measure

    table = measure(truth, pictures=pictures, predicted=predicted)
    _print_json(table.to_json()) if as_json else click.echo(str(table))


@evaluate.command("match")
@click.argument("video", type=_FILE, required=False)
@click.option("--truth", type=_FILE, help="Truth of the VIDEO.  [default: the sample match's]")
@click.option("--track", "track_file", type=_FILE, help="Keypoints instead of the pose pass.")
@click.option("--true-keypoints", is_flag=True, help="The sample match's true keypoints.")
@click.option(
    "--noise",
    type=click.FloatRange(0, 1),
    default=0.0,
    show_default=True,
    help="Noise on keypoints, as a share of the athlete's size.",
)
@click.option(
    "--missing",
    type=click.FloatRange(0, 1),
    default=0.0,
    show_default=True,
    help="Share of keypoints dropped.",
)
@click.option("--seed", type=int, default=0, show_default=True)
@click.option(
    "--within",
    "within_s",
    type=click.FloatRange(0, 60),
    default=1.0,
    show_default=True,
    help="Seconds a proposal may be off.",
)
def evaluate_match(video: Path | None, **given: Any) -> None:
    """Hold the proposals for a match against its truth (default: the sample match)."""
    from posescore.assessment import assess_command
    from posescore.printing import print_assessment, progress_bar

    with progress_bar(quiet=False) as progress:
        found = assess_command(video, progress=progress, **given)
    print_assessment(found)


@main.command()
@click.argument("parts", nargs=-1, type=click.Choice(["help", "pipeline", "after", "memory"]))
def benchmark(parts: tuple[str, ...]) -> None:
    """Measure speed and memory and print ratios (default: all parts; memory takes long)."""
    from posescore.benchmark import PARTS

    for part in parts or tuple(PARTS):
        for figure in PARTS[part]():
            mark = "kept" if figure.held else "NOT kept"
            click.echo(
                f"{figure.name}: {figure.value:.2f} {figure.unit} "
                f"(limit {figure.limit:g} {figure.unit}: {mark})"
            )

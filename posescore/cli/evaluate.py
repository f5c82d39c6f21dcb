"""The commands that measure; thin like the others, and as light to import."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from posescore.cli.options import (
    FILE,
    amount_option,
    estimator_option,
    json_option,
    poses_option,
    print_json,
    seed_option,
)

PARTS = (
    "help", "pipeline", "match", "phone", "full-hd", "after", "pages", "memory", "whole-memory",
)  # fmt: skip
"""What can be measured; the benchmark's own table, said here so that help needs no heavy import."""


@click.group()
def evaluate() -> None:
    """Measure a part against data with known answers."""


@evaluate.command("position")
@poses_option
@click.option("--real", type=FILE, multiple=True, help="Keypoints that a pose pass gave (.npz).")
@json_option("the table")
def evaluate_position(poses: Path | None, real: tuple[Path, ...], as_json: bool) -> None:
    """Measure the position classifier on held-back entries of the open pose set.

    With --real, on what a pose pass gave of pictures of them.
    """
    from posescore.evaluation.position import evaluate as measure
    from posescore.evaluation.position import table
    from posescore.evaluation.position_from_pictures import evaluate_pass

    figures = evaluate_pass(real, poses) if real else measure(poses)
    if as_json:
        print_json(figures)
    else:
        click.echo("\n".join(table(figures)))


@evaluate.command("pose")
@click.argument("truth", type=FILE)
@click.option("--pictures", type=FILE, help="Folder of the pictures.  [default: beside TRUTH]")
@click.option("--predicted", type=FILE, help="COCO keypoints to measure instead of our own.")
@estimator_option
@json_option("the table")
def evaluate_pose(
    truth: Path, pictures: Path | None, predicted: Path | None, estimator: str, as_json: bool
) -> None:
    """Measure keypoints on labelled pictures: TRUTH is COCO keypoints JSON."""
    from posescore.evaluation.pose import evaluate_pose as measure

    table = measure(truth, pictures=pictures, predicted=predicted, estimator=estimator)
    print_json(table.to_json()) if as_json else click.echo(str(table))


@evaluate.command("match")
@click.argument("video", type=FILE, required=False)
@click.option("--truth", type=FILE, help="Truth of the VIDEO.  [default: the sample match's]")
@click.option("--track", "track_file", type=FILE, help="Keypoints instead of the pose pass.")
@click.option("--true-keypoints", is_flag=True, help="The sample match's true keypoints.")
@amount_option("--noise", 1, 0.0, "Noise on keypoints, as a share of the athlete's size.")
@amount_option("--missing", 1, 0.0, "Share of keypoints dropped.")
@seed_option
@amount_option("--within", 60, 1.0, "Seconds a proposal may be off.", "within_s")
@json_option("what was found, missed and false")
def evaluate_match(video: Path | None, as_json: bool, **given: Any) -> None:
    """Hold the proposals for a match against its truth (default: the sample match)."""
    from posescore.cli.render import plain_console, progress_bar
    from posescore.evaluation.match import assess_command
    from posescore.evaluation.match_table import print_assessment

    with progress_bar(quiet=False) as progress:
        found = assess_command(video, progress=progress, **given)
    print_json(found.to_json()) if as_json else print_assessment(found, plain_console())


@click.command()
@click.argument("parts", nargs=-1, type=click.Choice(PARTS))
def benchmark(parts: tuple[str, ...]) -> None:
    """Measure speed and memory and print ratios (default: all but whole-memory, which is slow)."""
    from posescore.evaluation.speed import MEASURES, USUAL

    for part in parts or USUAL:
        for figure in MEASURES[part]():
            mark = "kept" if figure.held else "NOT kept"
            limit = f" (limit {figure.limit:g} {figure.unit}: {mark})" if figure.limit else ""
            click.echo(f"{figure.name}: {figure.value:.2f} {figure.unit}".rstrip() + limit)

"""Measure the whole program on films of walked matches.

    python -m posescore.lab.films.measure FOLDER [--poor lines240 ...] [--as-read]

FOLDER holds what ``python -m posescore.lab.films`` made: one folder a film. Every film is read by
the shipped pose pass (``--as-read`` takes the tracks that lie beside the films) and judged by the
shipped program; recall, precision and right position are printed with bootstrap intervals over
films, for the films as they are and for each way of making them poor
(:data:`posescore.lab.films.degrade.KINDS`).
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import click
import numpy as np
from numpy.typing import NDArray

from posescore.errors import MissingPartError
from posescore.lab.films.__main__ import read_film
from posescore.lab.films.degrade import KINDS, degrade
from posescore.lab.walks.measure import Outcome, compared_to, shipped, table
from posescore.lab.walks.motion import FPS
from posescore.pose.track_file import read_track
from posescore.scoring.engine import propose
from posescore.scoring.log import log_from_json
from posescore.scoring.rules import RuleSet
from posescore.terms import STATES, Athlete, Position, State

AS_FILMED: Final = "as filmed"
_BAND_S: Final = 0.25
_LOG: Final = ("rules", "holds", "events")


def true_states(truth: dict[str, Any]) -> NDArray[np.int64]:
    """``(n,)`` index into :data:`posescore.terms.STATES`, 30 a second.

    -1 for a quarter of a second on a scramble's side of every hold, where nobody can say.
    """
    state = np.full(int(truth["n_frames"]), -1, np.int64)
    for row in truth["states"]:
        position = Position(row["position"])
        upper = Athlete(row["upper"]) if "upper" in row else None
        start_s, end_s = float(row["start_s"]), float(row["end_s"])
        if position is Position.SCRAMBLE:
            start_s, end_s = start_s + _BAND_S, end_s - _BAND_S
        state[round(start_s * FPS) : max(0, round(end_s * FPS))] = STATES.index(
            State(position, upper)
        )
    return state


def outcome_of_film(folder: Path, track_name: str, index: int) -> Outcome:
    """What the program finds in a film whose track was read.

    Raises
    ------
    MissingPartError
        When truth or track is absent.
    """
    truth_path, track_path = folder / "truth.json", folder / track_name
    if not (truth_path.is_file() and track_path.is_file()):
        raise MissingPartError(f"{folder} holds no truth.json and {track_name}: film it again.")
    truth = json.loads(truth_path.read_text("utf-8"))
    log = log_from_json({key: truth[key] for key in _LOG})
    track = read_track(track_path)
    holds, events = shipped(track)
    ruling = propose(holds, events, RuleSet.load(truth["rules"]), end_s=track.end_s)
    return compared_to(
        index, truth, true_states(truth), log.events, holds, events, ruling.proposals
    )


def track_of(folder: Path, poor: str, *, as_read: bool) -> str:
    """Name of the track of a film made poor (or not), which is read where it is not there yet."""
    name = "track.parquet" if poor == AS_FILMED else f"{poor}.parquet"
    if as_read or (folder / name).is_file():
        return name
    video = "match.mp4" if poor == AS_FILMED else f"{poor}.mp4"
    if not (folder / video).is_file():
        degrade(folder / "match.mp4", folder / video, poor)
    read_film(folder, video, name)
    return name


def outcomes_of_films(folders: Sequence[Path], poor: str, *, as_read: bool) -> list[Outcome]:
    """Outcomes of all films in one condition; films without a track are left out with as_read."""
    outcomes = []
    for index, folder in enumerate(folders):
        name = track_of(folder, poor, as_read=as_read)
        if not as_read or (folder / name).is_file():
            outcomes.append(outcome_of_film(folder, name, index))
    return outcomes


@click.command()
@click.argument("films", type=click.Path(path_type=Path, exists=True, file_okay=False))
@click.option("--poor", multiple=True, type=click.Choice([*KINDS, "all"]), help="Also made poor.")
@click.option("--as-read", is_flag=True, help="Take the tracks that are there, read none.")
def main(films: Path, poor: tuple[str, ...], as_read: bool) -> None:
    """Measure the whole program on films."""
    folders = sorted(path.parent for path in films.glob("*/truth.json"))
    if not folders:
        raise click.ClickException(f"{films} holds no films: make some with posescore.lab.films.")
    kinds = list(KINDS) if "all" in poor else list(poor)
    for condition in (AS_FILMED, *kinds):
        outcomes = outcomes_of_films(folders, condition, as_read=as_read)
        if outcomes:
            click.echo(f"\n{condition}: {table(outcomes)}")


if __name__ == "__main__":
    main()

"""Fit the simulated errors of the pose pass to the recorded ones, and say how well they agree.

    python -m posescore.lab.films.fit_errors FOLDER... [--out pass_errors.json] [--rounds 14]

Every FOLDER holds the ``true.npz`` and ``track.parquet`` of one film. The figures that shape
:func:`posescore.lab.walks.pass_errors.errors` are moved until the errors it puts on the films' own
true keypoints have the figures of the recorded ones; then both are printed side by side.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from copy import deepcopy
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import click
import numpy as np

from posescore import __version__
from posescore.lab.films.error_figures import LAGS_S, FilmErrors, by_keypoint, figures_of
from posescore.lab.films.recorded import FRAMES_PER_S, Recorded, load_all
from posescore.lab.walks.pass_errors import errors, shipped_figures
from posescore.pose.track import PairTrack
from posescore.terms import KEYPOINTS, Provenance

Figures = dict[str, Any]

_FOLLOWS: Final[dict[str, str]] = {
    "wrong_mean_s": "wrong_length_seen_s",
    "missing_per_s_seen": "missing_per_s_seen",
    "missing_per_s_hidden": "missing_per_s_hidden",
    "missing_mean_s": "missing_length_hidden_s",
    "legs_swapped_per_s": "legs_swapped_per_s",
    "arms_swapped_per_s": "arms_swapped_per_s",
    "swapped_mean_s": "legs_swapped_length_s",
    "athlete_missing_per_s": "athlete_missing_per_s",
    "athlete_missing_mean_s": "athlete_missing_length_s",
    "slots_swapped_per_s": "slots_swapped_per_s",
    "slots_swapped_mean_s": "slots_swapped_length_s",
}
"""The figure of the recorded errors that each figure of the simulation is moved by."""
_BOUNDS: Final[dict[str, tuple[float, float]]] = {
    "slow_s": (0.15, 3.0), "slower_s": (2.0, 12.0), "tail_seen": (0.0, 1.6),
    "tail_hidden": (0.0, 1.6), "wrong_mean_s": (0.1, 3.0), "swapped_mean_s": (0.1, 3.0),
    "slots_swapped_mean_s": (0.1, 3.0), "wrong_per_s_seen": (1e-6, 0.2),
    "wrong_per_s_hidden": (1e-6, 0.5), "legs_swapped_per_s": (1e-6, 0.1),
    "arms_swapped_per_s": (1e-6, 0.1), "slots_swapped_per_s": (1e-6, 0.05),
    "athlete_missing_per_s": (1e-6, 0.1), "athlete_missing_mean_s": (0.1, 3.0),
}  # fmt: skip
"""No figure leaves these while it is moved."""
_NEVER: Final = 1e-6
"""A rate of what was not recorded at all (they are divided by one another)."""
_STEP: Final = 0.7
_MOST: Final = 2.5
"""No figure is multiplied or divided by more in one round."""


def simulated(film: Recorded, figures: Figures, seed: int) -> Recorded:
    """A recording's truth with simulated errors in place of its own."""
    n = len(film.true_px)
    true = PairTrack(
        film.true_px, np.ones(film.true_px.shape[:3], np.float32), np.arange(n),
        np.arange(n) / FRAMES_PER_S, film.end_s, (0, 0), Provenance(__version__),
    )  # fmt: skip
    read = errors(true, film.visible, np.random.default_rng(seed), figures)
    return replace(film, read_px=read.keypoints_px, confidence=read.keypoint_confidence)


def _simulated(films: Sequence[Recorded], figures: Figures, draws: int) -> list[FilmErrors]:
    return [
        FilmErrors(simulated(film, figures, 1000 * draw + index))
        for draw in range(draws)
        for index, film in enumerate(films)
    ]


def fitted(
    films: Sequence[Recorded], rounds: int = 14, draws: int = 2, start: Figures | None = None
) -> Figures:
    """Figures of the simulation under which its errors look like the recorded ones."""
    figures: Figures = deepcopy(start or shipped_figures())
    filmed = [FilmErrors(film) for film in films]
    wanted = figures_of(filmed)
    for _ in range(rounds):
        drawn = _simulated(films, figures, draws)
        got = figures_of(drawn)
        _move_sizes(figures, filmed, drawn)
        _move_persistence(figures, wanted, got)
        _move_events(figures, wanted, got)
        _move_confidence(figures, wanted, got)
        for name, (low, high) in _BOUNDS.items():
            figures[name] = float(np.clip(figures[name], low, high))
    return {name: _rounded(value) for name, value in figures.items()}


def _move_sizes(
    figures: Figures, filmed: Sequence[FilmErrors], drawn: Sequence[FilmErrors]
) -> None:
    """Every keypoint's middle error by its median, the tails by how far the 90th lies above it."""
    for name, visible in (("seen", True), ("hidden", False)):
        wanted, got = by_keypoint(filmed, visible), by_keypoint(drawn, visible)
        old = figures[f"noise_{name}"]
        figures[f"noise_{name}"] = [
            sd * _factor(w, g) for sd, w, g in zip(old, wanted[:, 0], got[:, 0], strict=True)
        ]
        longer = np.nanmedian(np.log(wanted[:, 1] / wanted[:, 0]) - np.log(got[:, 1] / got[:, 0]))
        figures[f"tail_{name}"] += 0.4 * float(longer)


def _move_persistence(figures: Figures, wanted: dict[str, float], got: dict[str, float]) -> None:
    """The share of quick noise by the shortest lag, time constants and lasting shares by longer."""

    def lacks(lag_s: float, *names: str) -> float:
        keys = [f"correlation_{name}_{lag_s:g}_s" for name in names or ("seen", "hidden")]
        return float(np.mean([wanted[key] - got[key] for key in keys]))

    figures["slow_share"] = float(np.clip(figures["slow_share"] + 0.5 * lacks(LAGS_S[0]), 0.3, 1.0))
    figures["slow_s"] *= float(np.exp(1.5 * lacks(LAGS_S[1])))
    figures["slower_share"] = [
        float(np.clip(share + 0.6 * lacks(LAGS_S[2], name), 0.0, 1.0))
        for share, name in zip(figures["slower_share"], ("seen", "hidden"), strict=True)
    ]
    figures["slower_s"] *= float(np.exp(1.5 * lacks(LAGS_S[3])))


def _move_events(figures: Figures, wanted: dict[str, float], got: dict[str, float]) -> None:
    for name, follows in _FOLLOWS.items():
        if wanted[follows] > 0:
            figures[name] *= _factor(wanted[follows], got[follows])
        elif "_per_s" in name:
            figures[name] = _NEVER
    for name in ("seen", "hidden"):
        share = f"elsewhere_share_{name}"
        figures[f"wrong_per_s_{name}"] *= _factor(wanted[share], got[share])
    kinds = figures["wrong_kinds"]
    for kind in kinds:
        kinds[kind] *= _factor(wanted[f"wrong_{kind}"], got[f"wrong_{kind}"])
    total = sum(kinds.values())
    figures["wrong_kinds"] = {kind: value / total for kind, value in kinds.items()}


def _move_confidence(figures: Figures, wanted: dict[str, float], got: dict[str, float]) -> None:
    def lacks(how: str, name: str) -> float:
        return wanted[f"confidence_{name}_{how}"] - got[f"confidence_{name}_{how}"]

    names = ("seen", "hidden")
    figures["confidence_level"] = [
        level + 0.7 * lacks("right", name)
        for level, name in zip(figures["confidence_level"], names, strict=True)
    ]
    off, wrong = (float(np.mean([lacks(how, n) for n in names])) for how in ("off", "wrong"))
    figures["confidence_fall"] *= float(np.exp(1.5 * off))
    figures["confidence_floor"] = float(np.clip(figures["confidence_floor"] + 0.7 * wrong, 0, 0.9))


def _factor(wanted: float, got: float) -> float:
    if not (wanted > 0 and np.isfinite(wanted) and np.isfinite(got)):
        return 1.0
    return float(np.clip((wanted / max(got, 1e-6)) ** _STEP, 1 / _MOST, _MOST))


def _rounded(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _rounded(each) for key, each in value.items()}
    if isinstance(value, list):
        return [_rounded(each) for each in value]
    return float(f"{value:.3g}") if isinstance(value, float) else value


def table(films: Sequence[Recorded], figures: Figures, draws: int = 3) -> str:
    """Recorded and simulated errors side by side."""
    filmed = [FilmErrors(film) for film in films]
    drawn = _simulated(films, figures, draws)
    minutes = sum(film.end_s for film in films) / 60
    lines = [f"{len(films)} films, {minutes:.1f} minutes; lengths in shares of the pair's size", ""]
    lines.append(f"{'error by keypoint':<24}{'seen: median, 90 %':>34}{'hidden: median, 90 %':>34}")
    lines.append(f"{'':<24}{'filmed':>17}{'simulated':>17}{'filmed':>17}{'simulated':>17}")
    columns = [by_keypoint(each, visible) for visible in (True, False) for each in (filmed, drawn)]
    for k, name in enumerate(KEYPOINTS):
        if not name.startswith("right_"):
            cells = "".join(f"{c[k, 0]:>9.4f}{c[k, 1]:>8.4f}" for c in columns)
            lines.append(f"{name.removeprefix('left_'):<24}{cells}")
    lines += ["", f"{'figure':<32}{'filmed':>10}{'simulated':>12}"]
    one, other = figures_of(filmed), figures_of(drawn)
    lines += [f"{name:<32}{one[name]:>10.4f}{other[name]:>12.4f}" for name in one]
    return "\n".join(lines)


@click.command()
@click.argument("folders", nargs=-1, required=True, type=click.Path(path_type=Path, exists=True))
@click.option("--out", type=click.Path(path_type=Path), help="Where the fitted figures go.")
@click.option("--rounds", default=14, show_default=True)
def main(folders: tuple[Path, ...], out: Path | None, rounds: int) -> None:
    """Fit, write, and print the table."""
    films = load_all(folders)
    figures = fitted(films, rounds) if out else shipped_figures()
    if out is not None:
        minutes = sum(film.end_s for film in films) / 60
        figures["about"] = (
            "Errors of the shipped pose pass, lengths as shares of the pair's longer side. Fitted "
            f"to {len(films)} rendered films ({minutes:.0f} minutes) of walks through training "
            "entries by python -m posescore.lab.films.fit_errors."
        )
        rows = (f"  {json.dumps(name)}: {json.dumps(value)}" for name, value in figures.items())
        out.write_text("{\n" + ",\n".join(rows) + "\n}\n", "utf-8")
    click.echo(table(films, figures))


if __name__ == "__main__":
    main()

"""Fit the simulated errors of the pose pass to the recorded ones, and say how well they agree.

    python -m posescore.lab.films.fit_errors FOLDER... [--out pass_errors.json] [--rounds 8]

Every FOLDER holds the ``true.npz`` and ``track.parquet`` of one film. The figures that shape
:func:`posescore.lab.walks.pass_errors.errors` are moved until the errors it puts on the films' own
true keypoints have the figures of the recorded ones; then both are printed side by side.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
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
from posescore.terms import Provenance

Figures = dict[str, Any]

_FOLLOWS: Final[dict[str, str]] = {
    "wrong_per_s_seen": "wrong_share_seen",
    "wrong_per_s_hidden": "wrong_share_hidden",
    "wrong_mean_s": "wrong_length_hidden_s",
    "wrong_reach": "wrong_reach",
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


def _simulated_figures(films: Sequence[Recorded], figures: Figures, draws: int) -> dict[str, float]:
    again = [
        FilmErrors(simulated(film, figures, 1000 * draw + index))
        for draw in range(draws)
        for index, film in enumerate(films)
    ]
    return figures_of(again)


def fitted(
    films: Sequence[Recorded], rounds: int = 8, draws: int = 2, start: Figures | None = None
) -> Figures:
    """Figures of the simulation under which its errors look like the recorded ones."""
    figures = json.loads(json.dumps(start or shipped_figures()))
    wanted = figures_of([FilmErrors(film) for film in films])
    for _ in range(rounds):
        _moved(figures, wanted, _simulated_figures(films, figures, draws))
    return _rounded(figures)


def _moved(figures: Figures, wanted: dict[str, float], got: dict[str, float]) -> None:
    for name, follows in _FOLLOWS.items():
        if wanted[follows] <= 0:
            if name.endswith("_per_s") or "_per_s_" in name:
                figures[name] = _NEVER
            continue
        figures[name] *= _factor(wanted[follows], got[follows])
    for name in ("seen", "hidden"):
        low, high = figures[f"noise_{name}"]
        middle = (low + high) / 2 * _factor(wanted[f"noise_{name}"], got[f"noise_{name}"])
        rougher = np.log(_factor(wanted[f"roughness_{name}"], got[f"roughness_{name}"]))
        half = float(np.clip((high - low) / (high + low) + 0.3 * rougher, 0, 0.85))
        figures[f"noise_{name}"] = [middle * (1 - half), middle * (1 + half)]
    quick, slow = (wanted[f"correlation_{lag:g}_s"] for lag in (LAGS_S[0], LAGS_S[2]))
    got_quick, got_slow = (got[f"correlation_{lag:g}_s"] for lag in (LAGS_S[0], LAGS_S[2]))
    figures["slow_share"] = float(np.clip(figures["slow_share"] + 0.5 * (quick - got_quick), 0, 1))
    figures["slow_s"] *= _factor(max(slow, 0.02), max(got_slow, 0.02))
    figures["bias_hidden"] *= _factor(*(max(v["correlation_3_s"], 0.01) for v in (wanted, got)))
    kinds = figures["wrong_kinds"]
    for kind in ("opponent", "mirrored"):
        if wanted[f"wrong_{kind}"] > 0:
            kinds[kind] *= _factor(wanted[f"wrong_{kind}"], got[f"wrong_{kind}"])
    kinds["near"] = max(0.05, 1 - kinds["opponent"] - kinds["mirrored"])


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
    drawn = [
        FilmErrors(simulated(film, figures, 77 + 1000 * draw + index))
        for draw in range(draws)
        for index, film in enumerate(films)
    ]
    minutes = sum(film.end_s for film in films) / 60
    lines = [f"{len(films)} films, {minutes:.1f} minutes; lengths in shares of the pair's size", ""]
    lines.append(f"{'error by keypoint':<24}{'seen: median, 90 %':>34}{'hidden: median, 90 %':>34}")
    lines.append(f"{'':<24}{'filmed':>17}{'simulated':>17}{'filmed':>17}{'simulated':>17}")
    columns = [by_keypoint(each, visible) for visible in (True, False) for each in (filmed, drawn)]
    for name in columns[0]:
        cells = "".join(f"{c[name][0]:>9.4f}{c[name][1]:>8.4f}" for c in columns)
        lines.append(f"{name:<24}{cells}")
    lines += ["", f"{'figure':<32}{'filmed':>10}{'simulated':>12}"]
    one, other = figures_of(filmed), figures_of(drawn)
    lines += [f"{name:<32}{one[name]:>10.4f}{other[name]:>12.4f}" for name in one]
    return "\n".join(lines)


@click.command()
@click.argument("folders", nargs=-1, required=True, type=click.Path(path_type=Path, exists=True))
@click.option("--out", type=click.Path(path_type=Path), help="Where the fitted figures go.")
@click.option("--rounds", default=8, show_default=True)
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
        out.write_text(json.dumps(figures, indent=2) + "\n", "utf-8")
    click.echo(table(films, figures))


if __name__ == "__main__":
    main()

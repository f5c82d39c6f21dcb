"""Score over time as lines on a plane: the same for a page and for paper."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from posescore.export.summary import ScoreStep
from posescore.terms import Athlete

INK: Final = {Athlete.A: "#9a4700", Athlete.B: "#00567f"}
"""Readable on white; A's line is full, B's dashed."""


@dataclass(frozen=True, slots=True)
class Plot:
    """A drawing of given width and height, in any unit.

    Parameters
    ----------
    lines
        For each athlete the corners of the line, x right, y down.
    heights
        Marks on the left: points and their y.
    instants
        Marks below: seconds and their x.
    labels
        For each athlete where the letter at the line's end stands; never on top of each other.
    left, bottom
        Where the axes stand.
    """

    width: float
    height: float
    lines: dict[Athlete, list[tuple[float, float]]]
    heights: list[tuple[int, float]]
    instants: list[tuple[float, float]]
    labels: dict[Athlete, tuple[float, float]]
    left: float
    bottom: float


def plot_of(
    steps: Sequence[ScoreStep],
    end_s: float,
    width: float,
    height: float,
    margin: float,
    most: int = 0,
) -> Plot:
    """Place a curve on a plane; ``most`` points at least fit on it."""
    most = max(2, most, *(points for step in steps for points in step.points.values()))
    step_points = max(1, -(-most // 5))
    most = -(-most // step_points) * step_points  # the last mark lies at the top, above every line
    right, bottom = width - margin, height - margin
    end_s = max(end_s, steps[-1].time_s, 0.001)

    def x(time_s: float) -> float:
        return margin + (right - margin) * time_s / end_s

    def y(points: int) -> float:
        return bottom - (bottom - margin / 3) * points / most

    lines = {}
    for athlete in Athlete:
        corners = [(x(0.0), y(0))]
        for step in steps:
            corners += [(x(step.time_s), corners[-1][1]), (x(step.time_s), y(step.points[athlete]))]
        lines[athlete] = [*corners, (x(end_s), corners[-1][1])]
    each_s = next((s for s in (5, 10, 30, 60, 120, 300) if end_s / s <= 8), 600)
    instants = [(float(at), x(at)) for at in range(0, int(end_s) + 1, each_s)]
    heights = [(points, y(points)) for points in range(0, most + 1, step_points)]
    return Plot(width, height, lines, heights, instants, _labels(lines, margin), margin, bottom)


def _labels(
    lines: dict[Athlete, list[tuple[float, float]]], margin: float
) -> dict[Athlete, tuple[float, float]]:
    (x, y_a), (_, y_b) = lines[Athlete.A][-1], lines[Athlete.B][-1]
    beside = margin / 2 if abs(y_a - y_b) < margin / 2 else margin / 8
    return {Athlete.A: (x + margin / 8, y_a), Athlete.B: (x + beside, y_b)}


def points_text(corners: Sequence[tuple[float, float]]) -> str:
    """Corners as SVG writes them."""
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in corners)

"""Learn where hidden keypoints usually are, and say how far the pose pass's errors go there.

    python -m posescore.lab.films.fit_usual_places [--out FILE] [--films FOLDER]

Learns from walked matches (training entries); FOLDER holds films read by the pose pass.
"""

from __future__ import annotations

import multiprocessing
from pathlib import Path
from typing import Any, Final

import click
import numpy as np
import torch
from torch import nn

from posescore.lab.films.error_figures import CLIPPED, FilmErrors
from posescore.lab.films.recorded import load_all
from posescore.lab.walks import load_graph, seen, walk
from posescore.lab.walks.motion import FPS
from posescore.lab.walks.usual_places import PAIR, Floats, Mask, normalised, usual_places
from posescore.terms import MIRRORED_KEYPOINTS, N_KEYPOINTS

WIDTH: Final = 320
_EVERY: Final = 4
"""Frames of walks that are learned from: every so many."""
_UNSEEN_TOO: Final = 0.08
"""Share of seen keypoints that are left out too while learning."""


def slope(error: Floats, way: Floats) -> float:
    """Which share of the way to the usual place errors ``(n, 2)`` go, by least squares."""
    return float((error * way).sum() / max(float((way * way).sum()), 1e-12))


def _walked(seed: int) -> tuple[Floats, Mask] | None:
    rng = np.random.default_rng((77, seed))
    try:
        match = walk(load_graph("train"), rng, (60, 120))
    except RuntimeError:
        return None
    view = seen(match, rng)
    return view.true_px[::_EVERY], view.visible[::_EVERY]


def learned(points: Floats, seen: Floats, steps: int) -> list[Floats]:
    """Weights of two hidden layers that guess what is left out, learned with torch."""
    rows, given = torch.from_numpy(points), torch.from_numpy(seen)
    side = list(MIRRORED_KEYPOINTS)
    mirror = side + [N_KEYPOINTS + k for k in side]
    other = [*range(N_KEYPOINTS, PAIR), *range(N_KEYPOINTS)]
    net = nn.Sequential(
        nn.Linear(3 * PAIR, WIDTH), nn.ReLU(), nn.Linear(WIDTH, WIDTH), nn.ReLU(),
        nn.Linear(WIDTH, 2 * PAIR),
    )  # fmt: skip
    hand = torch.optim.AdamW(net.parameters(), 2e-3, weight_decay=0.01)
    for step in range(steps):
        hand.param_groups[0]["lr"] = 1e-3 * (1 + np.cos(np.pi * step / steps))
        at = torch.randint(len(rows), (1024,))
        x, known = rows[at], given[at]
        flip, swap = torch.rand(1024) < 0.5, torch.rand(1024) < 0.5
        flipped = x[:, mirror] * torch.tensor([-1.0, 1.0])
        x = torch.where(flip[:, None, None], flipped, x)
        known = torch.where(flip[:, None], known[:, mirror], known)
        x = torch.where(swap[:, None, None], x[:, other], x)
        known = torch.where(swap[:, None], known[:, other], known)
        known = known * (torch.rand_like(known) > _UNSEEN_TOO)
        noisy = (x + 0.03 * torch.randn_like(x)) * known[..., None]
        guess = net(torch.cat([noisy.flatten(1), known], 1)).reshape(-1, PAIR, 2)
        away = ((guess - x).square().sum(-1) + 1e-4).sqrt()
        lost = (away * (1 - known)).sum() / (1 - known).sum()
        hand.zero_grad()
        lost.backward()
        hand.step()
    return [p.detach().numpy() for p in net.parameters()]


def _films_slope(folder: Path) -> tuple[float, float]:
    """Share of the way to the usual place, and of the squared error that it explains, on films."""
    errors, ways = [], []
    for film in load_all(sorted(path.parent for path in folder.glob("*/true.npz"))):
        of = FilmErrors(film)
        size = film.size_px[:, None, None, None]
        way = (usual_places(film.true_px, film.visible) - film.true_px) / size
        rows = ~film.visible & ~of.missing & ~of.slots[:, None, None]
        shrink = np.minimum(1.0, CLIPPED / np.maximum(of.far[rows], 1e-9))[:, None]
        errors.append(of.error[rows] * shrink)
        ways.append(way[rows])
    error, way = np.concatenate(errors), np.concatenate(ways)
    share = slope(error, way)
    left = ((error - share * way) ** 2).sum() / (error**2).sum()
    return share, float(1 - left)


@click.command()
@click.option("--out", type=click.Path(path_type=Path), help="Learn, and write the weights.")
@click.option("--films", type=click.Path(path_type=Path), help="Films read by the pose pass.")
@click.option("--matches", default=260, show_default=True)
@click.option("--steps", default=7500, show_default=True)
def main(out: Path | None, films: Path | None, matches: int, steps: int) -> None:
    """Learn where hidden keypoints usually are; say how far the pass's errors go there."""
    if out is not None:
        with multiprocessing.get_context("spawn").Pool(2) as pool:
            views = [view for view in pool.map(_walked, range(matches)) if view is not None]
        points, seen, _, _ = normalised(
            np.concatenate([v[0] for v in views]), np.concatenate([v[1] for v in views])
        )
        kept = (seen.sum(1) > 12) & (np.abs(points).max((1, 2)) < 8)
        weights = learned(points[kept], seen[kept], steps)
        stored: dict[str, Any] = {f"w{k}": w.astype(np.float16) for k, w in enumerate(weights)}
        np.savez_compressed(out, **stored)
        click.echo(f"{len(views)} matches, {kept.sum() / FPS * _EVERY / 60:.0f} minutes")
    if films is not None:
        click.echo("errors go {:.2f} of the way there, explaining {:.2f}".format(
            *_films_slope(films)
        ))  # fmt: skip


if __name__ == "__main__":
    main()

"""Film walked matches: ``python -m posescore.lab.films --count N --seed S --out FOLDER``.

Every film gets a folder of its own with ``match.mp4``, ``truth.json``, ``keypoints.json`` and
``true.npz`` (true pixels to a sixteenth, also beyond the picture's edge). With ``--read`` the
shipped pose pass goes over each film and its track is written beside it: ``track.parquet``.
Odd seeds have a referee, a pan or a cut. Needs the extra ``lab``.
"""

from __future__ import annotations

from pathlib import Path

import click
import numpy as np
import torch

from posescore.footage.reading import Footage
from posescore.lab.films.filming import WALKED_FRAMES_PER_S, Film, make_film, write_film
from posescore.lab.films.looks import draw_look
from posescore.lab.films.recorded import save
from posescore.lab.walks import load_graph, truth_json, walk
from posescore.lab.walks.graph import Entries
from posescore.pose.estimators.choice import USUAL, opened_estimator
from posescore.pose.track_file import write_track
from posescore.pose.tracking.follow import follow


def film_of(
    seed: int,
    out: Path,
    *,
    entries: Entries = "test",
    length_s: tuple[float, float] = (40.0, 60.0),
    frames_per_s: int = 25,
    size_px: tuple[int, int] = (960, 540),
    device: str = "cpu",
) -> Film:
    """Walk a match, film it and write everything into a folder.

    Parameters
    ----------
    seed
        Of the match and of the look.
    out
        The film's own folder.
    entries
        Which part of the open pose set is walked through.
    length_s
        Between which seconds the last hold begins.
    frames_per_s, size_px, device
        As in :func:`posescore.lab.films.filming.make_film`.
    """
    match = walk(load_graph(entries), np.random.default_rng([seed, 5]), length_s)
    look = draw_look(seed, len(match.state) / WALKED_FRAMES_PER_S)
    film = make_film(
        match.joints_m, look, frames_per_s=frames_per_s, size_px=size_px, device=device
    )
    write_film(film, truth_json(match), out)
    save(out / "true.npz", film.true_px, film.marks[..., 2], film.time_s)
    return film


def read_film(folder: Path, video: str = "match.mp4", track: str = "track.parquet") -> None:
    """Let the shipped pose pass follow the athletes of a film and keep the track."""
    with opened_estimator(USUAL, of_video=True) as estimator:
        write_track(follow(Footage(folder / video), estimator), folder / track)


@click.command()
@click.option("--count", default=24, show_default=True)
@click.option("--seed", default=1000, show_default=True, help="Of the first film.")
@click.option("--out", type=click.Path(path_type=Path), required=True)
@click.option("--entries", type=click.Choice(["train", "test"]), default="test", show_default=True)
@click.option("--length", nargs=2, type=float, default=(40.0, 60.0), show_default=True)
@click.option("--rate", default=25, show_default=True, help="Frames a second.")
@click.option("--lines", default=540, show_default=True, help="Rows; the picture is 16 to 9.")
@click.option("--device", default="cpu", show_default=True, help="Where bodies are fitted.")
@click.option("--read", is_flag=True, help="Let the pose pass follow the athletes as well.")
def main(
    count: int,
    seed: int,
    out: Path,
    entries: Entries,
    length: tuple[float, float],
    rate: int,
    lines: int,
    device: str,
    read: bool,
) -> None:
    """Film walked matches, each into a folder of its own."""
    torch.set_num_threads(1)
    size_px = (round(lines * 16 / 9 / 2) * 2, lines // 2 * 2)
    for number in range(seed, seed + count):
        folder = out / f"{entries}{number}"
        film = film_of(
            number, folder, entries=entries, length_s=length, frames_per_s=rate,
            size_px=size_px, device=device,
        )  # fmt: skip
        off_m = float(film.fit_error_m.mean())
        with_ = ", ".join(film.look.trouble) or "nothing in the way"
        click.echo(
            f"{folder}: {film.time_s[-1]:.0f} s, {with_}; bodies {100 * off_m:.1f} cm from joints"
        )
        if read:
            read_film(folder)


if __name__ == "__main__":
    main()

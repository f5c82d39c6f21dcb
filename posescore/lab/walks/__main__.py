"""Write walked matches as tracks with their truth: ``python -m posescore.lab.walks --out FOLDER``.

Each match becomes a folder with ``read.parquet`` (with the pass's errors), ``true.parquet``
(true keypoints) and ``truth.json``.
"""

from __future__ import annotations

import json
from pathlib import Path

import click
import numpy as np

from posescore.lab.walks import errors, load_graph, seen, truth_json, walk
from posescore.lab.walks.graph import Entries
from posescore.pose.track_file import write_track


@click.command()
@click.option("--count", default=20, show_default=True)
@click.option("--entries", type=click.Choice(["train", "test", "all"]), default="test")
@click.option("--seed", default=0, show_default=True)
@click.option("--out", type=click.Path(path_type=Path), required=True)
def main(count: int, entries: Entries, seed: int, out: Path) -> None:
    """Walk matches and write them."""
    graph = load_graph(entries)
    for number in range(count):
        rng = np.random.default_rng((seed, number))
        match = walk(graph, rng)
        view = seen(match, rng)
        folder = out / f"walk_{number:03d}"
        folder.mkdir(parents=True, exist_ok=True)
        write_track(errors(view.track, view.visible, rng), folder / "read.parquet")
        write_track(view.track, folder / "true.parquet")
        truth = json.dumps(truth_json(match), indent=1)
        (folder / "truth.json").write_text(truth + "\n", "utf-8")
        click.echo(f"{folder}: {truth.count('points')} awards in {len(match.state) / 30:.0f} s")


if __name__ == "__main__":
    main()

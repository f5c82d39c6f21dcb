"""Learn the model in time: ``python -m posescore.lab.train.time --out FOLDER``.

All cores but one walk matches without end while the network learns from those that are there.
Every eighth training entry of the open set, and all held-back ones, are left out.
"""

from __future__ import annotations

import multiprocessing
import os
import time
from multiprocessing.pool import AsyncResult, Pool
from pathlib import Path

import click
import torch

from posescore.lab.train.time.learning import Settings, Store, learn
from posescore.lab.train.time.material import Material, material_of
from posescore.lab.train.time.network import TimeNetwork

AHEAD = 400
"""Matches that are asked for before they are needed."""


class Walkers:
    """Processes that walk matches; seeds never repeat."""

    def __init__(self, processes: int, first: int) -> None:
        self._pool: Pool = multiprocessing.get_context("spawn").Pool(processes)
        self._seed = first
        self._waiting = [self._next() for _ in range(AHEAD)]

    def _next(self) -> AsyncResult[list[Material]]:
        self._seed += 1
        return self._pool.apply_async(material_of, ("learn", (7, self._seed)))

    def fresh(self) -> list[Material]:
        """What was walked since last asked."""
        found: list[Material] = []
        left = []
        for one in self._waiting:
            if one.ready():
                found += one.get()
            else:
                left.append(one)
        self._waiting = left + [self._next() for _ in range(AHEAD - len(left))]
        return found

    def close(self) -> None:
        """Stop."""
        self._pool.terminate()


@click.command()
@click.option("--out", type=click.Path(path_type=Path), required=True)
@click.option("--seconds", default=300.0, help="Of learning.")
@click.option("--walk-first", default=60.0, help="Seconds of walking before.")
@click.option("--batch", default=64)
@click.option("--processes", default=0, help="That walk; all cores but one by default.")
@click.option("--capacity", default=24_000_000, help="Instants that are kept.")
@click.option("--resume", type=click.Path(path_type=Path), help="Weights to go on from.")
@click.option("--first-seed", default=0)
@click.option("--rate", default=2e-3)
@click.option("--threads", default=1)
@click.option("--half", is_flag=True, help="Half precision on a processor too.")
@click.option("--compiled", is_flag=True, help="Compile the network first (GPU).")
def main(
    out: Path,
    seconds: float,
    walk_first: float,
    batch: int,
    processes: int,
    capacity: int,
    resume: Path | None,
    first_seed: int,
    rate: float,
    threads: int,
    half: bool,
    compiled: bool,
) -> None:
    """Walk, learn, write ``time_model.pt``."""
    torch.set_num_threads(threads)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    walkers = Walkers(processes or max(1, (os.cpu_count() or 2) - 1), first_seed)
    store, began = Store(capacity, device), time.monotonic()
    while time.monotonic() - began < walk_first or not store.first:
        time.sleep(1.0)
        for material in walkers.fresh():
            store.add(material)
    print(f"{len(store.first)} views in {time.monotonic() - began:.0f} s", flush=True)
    torch.manual_seed(first_seed)
    network = TimeNetwork()
    if resume:
        network.load_state_dict(torch.load(resume, weights_only=True))
    out.mkdir(parents=True, exist_ok=True)

    def keep(learned: TimeNetwork) -> None:
        torch.save({k: v.cpu() for k, v in learned.state_dict().items()}, out / "time_model.pt")

    settings = Settings(seconds, batch, rate, half=half or device.type == "cuda", compiled=compiled)
    keep(learn(network, store, settings, walkers.fresh, keep))
    walkers.close()


if __name__ == "__main__":
    main()

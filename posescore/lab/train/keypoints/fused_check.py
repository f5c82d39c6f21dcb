r"""Finds out which parts of the network's pass work fused on this GPU, and what they save.

    python -m posescore.lab.train.keypoints.fused_check --resume FOLDER --out FILE
    torchrun ... -m posescore.lab.train.keypoints.training --fused "$(cat FILE)" ...

Each part is tried on its own against the same pass in plain torch, and all that pass together.
The file is written after every try, so a part that ends the program leaves those before it.
"""

from __future__ import annotations

import time
from collections.abc import Iterable
from pathlib import Path
from typing import Final

import click
import torch
from torch import Tensor

from posescore.lab.corpus.pictures import Batch
from posescore.lab.train.keypoints import fused
from posescore.lab.train.keypoints.capture import Recorded
from posescore.lab.train.keypoints.checkpoint import load_checkpoint
from posescore.lab.train.keypoints.learner import Learner, Place
from posescore.lab.train.keypoints.training import empty_modules, network_pass
from posescore.terms import N_KEYPOINTS

ALIKE: Final = 0.02
"""How far from 1 the cosine of two gradients may be, beyond what half precision costs."""

_REPEATS: Final = 8


def made_up_batch(count: int, device: torch.device) -> Batch:
    """Noise with keypoints, a mask and parts somewhere: every path of the loss is taken."""
    random = torch.Generator(device=device).manual_seed(5)

    def uniform(*shape: int) -> Tensor:
        return torch.rand(*shape, generator=random, device=device)

    coarse = uniform(count, 3, 16, 16)
    label = (uniform(count, 64, 64) * 31).to(torch.uint8)
    label[(label & 15) == 15] = 0
    return Batch(
        picture=torch.nn.functional.interpolate(coarse, size=(256, 256), mode="bilinear"),
        keypoints_px=uniform(count, 2, N_KEYPOINTS, 2) * 256,
        visible=uniform(count, 2, N_KEYPOINTS) < 0.5,
        inside=uniform(count, 2, N_KEYPOINTS) < 0.9,
        area_px2=1000 + 20000 * uniform(count, 2),
        label=label,
        box=torch.tensor([0.1, 0.1, 0.9, 0.9], device=device).expand(count, 4),
    )


class Trial:
    """One network and one batch, whose pass is run in several ways."""

    def __init__(self, place: Place, resume: Path | None, count: int, frozen: int) -> None:
        network, finder = empty_modules()
        if resume is not None:
            load_checkpoint(resume, network=network, finder=finder)
        network.encoder.freeze(frozen)
        self._network, self._on_gpu = network, place.device.type == "cuda"
        self._learner = Learner(network, place, 1.0)
        self._batch = made_up_batch(count, place.device)

    def gradient(self, parts: Iterable[str]) -> tuple[float, Tensor]:
        """The loss and the row of gradients."""
        fused.use(parts)
        self._learner.gradient.zero_()
        loss, _ = network_pass(self._learner, self._network, self._batch)
        return float(loss), self._learner.gradient.clone()

    def milliseconds(self, parts: Iterable[str]) -> float:
        """How long the pass takes, recorded on a GPU."""
        fused.use(parts)
        if not self._on_gpu:
            return float("nan")
        run = Recorded(
            lambda batch: network_pass(self._learner, self._network, batch),
            self._batch,
            self._learner.gradient,
        )
        torch.cuda.synchronize()
        began = time.monotonic()
        for _ in range(_REPEATS):
            run(self._batch)
        torch.cuda.synchronize()
        return (time.monotonic() - began) * 1000 / _REPEATS


def likeness(one: Tensor, other: Tensor) -> float:
    """The cosine between two rows."""
    return float(torch.nn.functional.cosine_similarity(one.double(), other.double(), dim=0))


def tried(
    trial: Trial, parts: tuple[str, ...], plain: tuple[float, Tensor], plain_ms: float
) -> bool:
    """Whether parts give the plain pass's loss and gradients, and no later."""
    name = " and ".join(parts)
    try:
        loss, gradient = trial.gradient(parts)
        cosine = likeness(gradient, plain[1])
        longer = float(gradient.norm() / plain[1].norm())
        took = trial.milliseconds(parts)
    except Exception as error:  # whatever a compiler or a driver says, training goes on plain
        click.echo(f"{name}: {type(error).__name__}: {error}")
        return False
    click.echo(f"{name}: {took:.1f} ms, loss {loss:.4f}, cosine {cosine:.5f}, length {longer:.4f}")
    right = abs(loss / plain[0] - 1) < ALIKE and 1 - cosine < ALIKE and abs(longer - 1) < 2 * ALIKE
    return right and not took > plain_ms


@click.command()
@click.option("--out", type=click.Path(path_type=Path), required=True)
@click.option("--resume", type=click.Path(path_type=Path), default=None)
@click.option("--count", type=int, default=128, help="Crops.")
@click.option("--frozen", type=int, default=2)
def main(out: Path, resume: Path | None, count: int, frozen: int) -> None:
    """Try each part and write those that work."""
    out.write_text("", "utf-8")
    trial = Trial(Place.join(), resume, count, frozen)
    plain = trial.gradient(())
    again = trial.gradient(())[1]
    noise = likeness(plain[1], again)
    plain_ms = trial.milliseconds(())
    click.echo(f"plain: {plain_ms:.1f} ms, loss {plain[0]:.4f}, run twice {noise:.5f}")
    good: list[str] = []
    for part in fused.PARTS:
        if tried(trial, (part,), plain, plain_ms):
            good.append(part)
        if len(good) > 1 and part == good[-1] and not tried(trial, tuple(good), plain, plain_ms):
            good.pop()
        out.write_text(",".join(good), "utf-8")


if __name__ == "__main__":
    main()

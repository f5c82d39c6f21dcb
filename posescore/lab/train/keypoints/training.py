r"""Trains the pair network and the pair finder on rendered pictures, on one GPU or several.

    torchrun --standalone --nproc-per-node gpu -m posescore.lab.train.keypoints.training \
        --folder .corpus --out OUT --seconds 480 --begin 0 --finish 0.4

A run continues from the checkpoint in ``--resume``. The learning rate follows one cosine over all
runs together: ``--begin`` and ``--finish`` say which share of it this run covers. Pictures are made
while training and never twice; the same seed, machine and times give the same ones.
"""

from __future__ import annotations

import json
import math
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import click
import torch
from torch import Tensor

from posescore.evaluation.poses3d.pose_set import load_pose_set
from posescore.lab.corpus.effects import CLEAR
from posescore.lab.corpus.fitting import Fits
from posescore.lab.corpus.pictures import Batch, PictureMaker
from posescore.lab.corpus.poses import PoseSampler, split_frames, with_authored
from posescore.lab.corpus.rig import Rig
from posescore.lab.train.keypoints import fused
from posescore.lab.train.keypoints.capture import Pass, Recorded, RecordedDrawing
from posescore.lab.train.keypoints.checkpoint import load_checkpoint, save_checkpoint
from posescore.lab.train.keypoints.encoder import (
    LIGHTNING_OUTPUTS,
    MULTIPOSE_OUTPUTS,
    empty_encoder,
    encoder_from_graph,
)
from posescore.lab.train.keypoints.finder import PairFinder, boxes_of, finder_loss
from posescore.lab.train.keypoints.learner import Learner, Place
from posescore.lab.train.keypoints.loss import pair_loss
from posescore.lab.train.keypoints.network import PairNetwork, decode_heat
from posescore.lab.train.keypoints.pass_errors import Readers, write_errors
from posescore.lab.train.keypoints.scores import (
    calibration_error,
    overlap,
    similarity,
    summary,
)
from posescore.lab.train.keypoints.supply import Supply

_RATE: Final = 1.0e-3
_CROPS_DRAWN_AT_ONCE: Final = 4
_FRAMES_DRAWN_AT_ONCE: Final = 6

_LOG_EVERY_S: Final = 75.0
_AGREE_EVERY: Final = 20
_FINDER_EVERY: Final = 6


@dataclass(frozen=True, slots=True)
class Plan:
    """Settings of one run."""

    folder: Path
    out: Path
    seconds: float
    start: float = 0.0
    end: float = 1.0
    resume: Path | None = None
    batch: int = 256
    whole: int = 64
    seed: int = 1
    recorded: bool = True
    recorded_drawing: bool = True
    evaluated: int = 512
    encoder: float = 0.4
    frozen: int = 0
    errors: int = 0
    fused: str = ""
    clear: float = CLEAR


class Trainer:
    """Everything of one run."""

    def __init__(self, plan: Plan) -> None:
        self.plan, self.place = plan, Place.join()
        device = self.place.device
        torch.manual_seed(plan.seed)
        fused.use(plan.fused.split(","))
        torch.backends.cuda.matmul.allow_tf32 = True
        torch.backends.cudnn.allow_tf32 = True
        rig, fits = Rig.load(plan.folder / "rig.npz"), Fits.load(plan.folder / "fits.npz")
        poses = with_authored(load_pose_set(plan.folder / "poses3d.npz"))
        split = split_frames(poses)
        self._poses, self._train = poses, split.train
        sampler = PoseSampler(rig, fits, poses, split.train, device)
        seed = plan.seed * 1000 + round(plan.start * 100) * 10 + self.place.rank
        self.maker = PictureMaker(rig, sampler, seed, device, plan.clear)
        held_back = PoseSampler(rig, fits, poses, split.held_back, device)
        self.test_maker = PictureMaker(rig, held_back, 77 + self.place.rank, device)
        network, finder = first_modules(plan.folder) if plan.resume is None else empty_modules()
        if plan.resume is not None:
            load_checkpoint(plan.resume, network=network, finder=finder)
        network.encoder.freeze(plan.frozen)
        finder.encoder.freeze(plan.frozen)
        self.network = Learner(network, self.place, plan.encoder)
        self.finder = Learner(finder, self.place, plan.encoder)
        self._network, self._finder = network, finder
        self._crops = Supply(self._drawing(plan.batch * _CROPS_DRAWN_AT_ONCE, False), plan.batch)
        self._frames = Supply(self._drawing(plan.whole * _FRAMES_DRAWN_AT_ONCE, True), plan.whole)
        self._learn_network = self._pass(self.network, self._network_pass, self._crops)
        self._learn_finder = self._pass(self.finder, self._finder_pass, self._frames)
        self.log: list[dict[str, float]] = []
        self.say({"train_frames": len(split.train), "held_back": len(split.held_back)})

    def say(self, entry: dict[str, float]) -> None:
        """Print and keep a line of the log."""
        if self.place.rank == 0:
            self.log.append(entry)
            print(json.dumps(entry), flush=True)

    def _half(self) -> torch.autocast:
        return torch.autocast(self.place.device.type, dtype=torch.bfloat16)

    def _network_pass(self, batch: Batch) -> tuple[Tensor, Tensor]:
        return network_pass(self.network, self._network, batch)

    def _finder_pass(self, batch: Batch) -> tuple[Tensor, Tensor]:
        self.finder.forget()
        edges, cells = self._finder(_laid_out(batch.picture, self.place.precision))
        loss = finder_loss(edges, cells, batch)
        loss.backward()
        self.finder.gather()
        return loss.detach(), loss.detach()

    def _drawing(self, count: int, whole: bool) -> Callable[[], Batch]:
        if self.plan.recorded_drawing and self.place.device.type == "cuda":
            return RecordedDrawing(self.maker, count, whole=whole)
        return lambda: self.maker.batch(count, whole=whole)

    def _pass(self, learner: Learner, run: Pass, supply: Supply) -> Pass:
        if self.plan.recorded and self.place.device.type == "cuda":
            return Recorded(run, supply.next(), learner.gradient)
        return run

    def step(self, number: int, rate: float) -> Tensor:
        """Learn from one batch of crops, and now and then from whole frames."""
        _, last = self._learn_network(self._crops.next())
        self.network.learn(rate)
        if number % _FINDER_EVERY == 0:
            self._learn_finder(self._frames.next())
            self.finder.learn(rate)
        return last

    def run(self) -> None:
        """Train for the planned time, logging and saving as it goes."""
        plan, began, seen, number = self.plan, time.monotonic(), 0, 0
        logged, losses, done = began, [], 0.0
        while done < 1:
            if number % _AGREE_EVERY == 0:
                done = self.place.agreed((time.monotonic() - began) / max(plan.seconds, 1e-3))
            share = plan.start + (plan.end - plan.start) * min(done, 1)
            rate = _RATE * (0.02 + 0.98 * 0.5 * (1 + math.cos(math.pi * share)))
            losses.append(self.step(number, rate))
            number += 1
            if number == 100:
                self.say(self.timings())
            seen += plan.batch * self.place.world
            due = self.place.agreed(time.monotonic() - logged) if number % _AGREE_EVERY == 0 else 0
            if due > _LOG_EVERY_S or number in (20, 200):
                logged = time.monotonic()
                mean = float(torch.stack(losses[-100:]).mean())
                elapsed = logged - began
                entry: dict[str, float] = {"seconds": round(elapsed), "step": number, "seen": seen}
                entry |= {"rate": seen / elapsed, "loss": mean, **self.scores(plan.evaluated)}
                self.say({k: round(float(v), 4) for k, v in entry.items()})
                if number > 200:
                    self.save()
        self.save()
        if plan.errors:
            self.write_errors()
        self.say({"seen": seen, "steps": number, **self.scores(4 * plan.evaluated)})
        self.save()

    @fused.plain()
    def write_errors(self) -> None:
        """Write what both networks get wrong; see :mod:`pair_network.pass_errors`."""
        own = Readers(self.maker, self.network.average, self.finder.average)
        count = self.plan.errors // self.place.world
        write_errors(own, self._poses, self._train, self.plan.out, count, self.place.rank)

    def timings(self, repeats: int = 6) -> dict[str, float]:
        """Milliseconds of the parts of a step, and of whole steps with and without the finder."""
        crops, frames = self._crops.next(), self._frames.next()
        calls: dict[str, Callable[[], object]] = {
            "draw_ms": self._crops.next,
            "draw_whole_ms": self._frames.next,
            "network_ms": lambda: self._learn_network(crops),
            "finder_ms": lambda: self._learn_finder(frames),
            "learn_ms": lambda: self.network.learn(0.0),
            "step_ms": lambda: self.step(1, 0.0),
            "step_and_finder_ms": lambda: self.step(0, 0.0),
        }
        result = {}
        for name, call in calls.items():
            self._wait()
            began = time.monotonic()
            for _ in range(repeats):
                call()
            self._wait()
            result[name] = round((time.monotonic() - began) * 1000 / repeats, 1)
        return result

    def _wait(self) -> None:
        if self.place.device.type == "cuda":
            torch.cuda.synchronize()

    @torch.no_grad()
    @fused.plain()
    def scores(self, count: int) -> dict[str, float]:
        """Scores of the running averages on held-back entries."""
        found, sure, boxes = [], [], []
        size = min(256, count)
        for _ in range(math.ceil(count / size / self.place.world)):
            batch = self.test_maker.batch(size)
            with self._half():
                heat, _, _, confidence = self.network.average(_laid_out(batch.picture))
            guess, _ = decode_heat(heat)
            found.append(similarity(guess, batch))
            sure.append(calibration_error(guess, confidence.sigmoid(), batch))
            frames = self.test_maker.batch(min(64, size), whole=True)
            with self._half():
                edges, _ = self.finder.average(_laid_out(frames.picture))
            boxes.append(overlap(boxes_of(edges), frames.box))
        iou = torch.cat(boxes)
        return {
            **summary(torch.cat(found)),
            "calibration": sum(sure) / len(sure),
            "box_iou": float(iou.mean()),
            "box_60": float((iou > 0.6).float().mean()),
        }

    def save(self) -> None:
        """Write the running averages and the log."""
        if self.place.rank == 0:
            save_checkpoint(self.plan.out, network=self.network.average, finder=self.finder.average)
            (self.plan.out / "log.json").write_text(json.dumps(self.log, indent=1), "utf-8")


def first_modules(folder: Path) -> tuple[PairNetwork, PairFinder]:
    """Both networks on encoders with the published weights."""
    network = PairNetwork(encoder_from_graph(folder / "movenet-multipose.json"))
    return network, PairFinder(encoder_from_graph(folder / "movenet-lightning.json"))


def empty_modules() -> tuple[PairNetwork, PairFinder]:
    """Both networks, to be filled from a checkpoint."""
    network = PairNetwork(empty_encoder(MULTIPOSE_OUTPUTS, 48))
    return network, PairFinder(empty_encoder(LIGHTNING_OUTPUTS, 32))


def network_pass(learner: Learner, network: PairNetwork, batch: Batch) -> tuple[Tensor, Tensor]:
    """The pair network's loss and its last stage's part; gradients are gathered."""
    learner.forget()
    stages, parts = network.stages(_laid_out(batch.picture, learner.parameters[0].dtype))
    loss, last = pair_loss(stages, parts, batch)
    loss.backward()
    learner.gather()
    return loss.detach(), last


def _laid_out(picture: Tensor, dtype: torch.dtype = torch.float32) -> Tensor:
    return picture.to(dtype).contiguous(memory_format=torch.channels_last)


@click.command()
@click.option("--folder", type=click.Path(path_type=Path), default=Path(".corpus"))
@click.option("--out", type=click.Path(path_type=Path), required=True)
@click.option("--seconds", type=float, required=True)
@click.option("--begin", "start", type=float, default=0.0)
@click.option("--finish", "end", type=float, default=1.0)
@click.option("--resume", type=click.Path(path_type=Path), default=None)
@click.option("--batch", type=int, default=256, help="Crops a step and GPU.")
@click.option("--whole", type=int, default=64, help="Whole frames, every sixth step, and GPU.")
@click.option("--seed", type=int, default=1)
@click.option("--recorded/--plain", default=True, help="Replay a recording of the passes.")
@click.option("--recorded-drawing/--plain-drawing", default=True, help="Likewise of drawing.")
@click.option("--evaluated", type=int, default=512)
@click.option("--encoder", type=float, default=0.4, help="The encoder's share of the rate.")
@click.option("--errors", type=int, default=0, help="Pictures for pass_errors, after training.")
@click.option("--clear", type=float, default=CLEAR, help="Share of pictures from a still camera.")
@click.option("--fused", default="", help="What fused_check found to work, comma-separated.")
@click.option("--frozen", type=int, default=0, help="Blocks of the encoder that stay as they are.")
def main(**settings: Any) -> None:
    """Train, log and save."""
    plan = Plan(**settings)
    plan.out.mkdir(parents=True, exist_ok=True)
    Trainer(plan).run()


if __name__ == "__main__":
    main()

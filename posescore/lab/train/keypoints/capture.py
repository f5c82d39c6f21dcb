"""Records drawing, and a network's forward and backward pass, on a GPU once, then replays it.

Drawing and the networks are made of many small operations; launching them from Python takes
longer than computing them. A recording (a CUDA graph) launches all of them at once.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields

import torch
from torch import Tensor

from posescore.lab.corpus.pictures import Batch, PictureMaker

Pass = Callable[[Batch], tuple[Tensor, Tensor]]
"""Computes the loss of a batch, runs it backward, and returns the loss and what is logged."""


class Recorded:
    """Replays a pass on batches of one size; ``gradient`` is the row that the pass fills."""

    def __init__(self, run: Pass, example: Batch, gradient: Tensor) -> None:
        self._static = Batch(**{f.name: getattr(example, f.name).clone() for f in fields(Batch)})
        side = torch.cuda.Stream()
        side.wait_stream(torch.cuda.current_stream())
        with torch.cuda.stream(side):
            for _ in range(3):
                run(self._static)
            expected = _norms(gradient)
        torch.cuda.current_stream().wait_stream(side)
        torch.cuda.synchronize()
        self._graph = torch.cuda.CUDAGraph()
        with torch.cuda.graph(self._graph, capture_error_mode="thread_local"):
            self._result = run(self._static)
        self._graph.replay()
        if not torch.allclose(_norms(gradient), expected, rtol=0.1, atol=1e-3):
            raise RuntimeError("the recording computes other gradients than the network")

    def __call__(self, batch: Batch) -> tuple[Tensor, Tensor]:
        """Run the pass on another batch of the same size."""
        for field in fields(Batch):
            getattr(self._static, field.name).copy_(getattr(batch, field.name))
        self._graph.replay()
        return self._result[0].clone(), self._result[1].clone()


class RecordedDrawing:
    """Replays the drawing of batches of one size; every replay draws other pictures.

    What it returns is overwritten by the next call.
    """

    def __init__(self, maker: PictureMaker, count: int, *, whole: bool) -> None:
        generator = maker.dice.generator
        side = torch.cuda.Stream()
        side.wait_stream(torch.cuda.current_stream())
        with torch.cuda.stream(side):
            maker.batch(count, whole=whole)
            before = generator.get_state()
            expected = maker.batch(count, whole=whole)
        torch.cuda.current_stream().wait_stream(side)
        torch.cuda.synchronize()
        self._graph = torch.cuda.CUDAGraph()
        self._graph.register_generator_state(generator)
        with torch.cuda.graph(self._graph, capture_error_mode="thread_local"):
            self._drawn = maker.batch(count, whole=whole)
        maker.kernels.recorded()
        generator.set_state(before)
        drawn = self()
        away = (drawn.keypoints_px - expected.keypoints_px).abs().mean()
        other = (drawn.picture - expected.picture).abs().mean()
        if away > 0.5 or other > 0.02:
            raise RuntimeError(f"the recording draws other pictures: {away:.2f} px, {other:.3f}")

    def __call__(self) -> Batch:
        """The next batch."""
        self._graph.replay()
        return self._drawn


def _norms(gradient: Tensor) -> Tensor:
    """One number for each of sixteen parts of a row of gradients."""
    return torch.stack([part.norm() for part in gradient.chunk(16)])

"""Records a network's forward and backward pass on a GPU once, then replays it.

The pair network is made of many small operations; launching them from Python takes longer than
computing them. A recording (a CUDA graph) launches all of them at once.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields

import torch
from torch import Tensor

from posescore.simulation.corpus.pictures import Batch

Pass = Callable[[Batch], tuple[Tensor, Tensor]]
"""Computes the loss of a batch, runs it backward, and returns the loss and what is logged."""


class Recorded:
    """Replays a pass on batches of one size; gradients land where the recording put them."""

    def __init__(self, run: Pass, example: Batch, parameters: list[torch.nn.Parameter]) -> None:
        self._static = Batch(**{f.name: getattr(example, f.name).clone() for f in fields(Batch)})
        side = torch.cuda.Stream()
        side.wait_stream(torch.cuda.current_stream())
        with torch.cuda.stream(side):
            for _ in range(3):
                _forget(parameters)
                run(self._static)
            expected = _gradient_norms(parameters)
        torch.cuda.current_stream().wait_stream(side)
        _forget(parameters)
        torch.cuda.synchronize()
        self._graph = torch.cuda.CUDAGraph()
        with torch.cuda.graph(self._graph, capture_error_mode="thread_local"):
            self._result = run(self._static)
        self._graph.replay()
        if not torch.allclose(_gradient_norms(parameters), expected, rtol=0.1, atol=1e-3):
            raise RuntimeError("the recording computes other gradients than the network")

    def __call__(self, batch: Batch) -> tuple[Tensor, Tensor]:
        """Run the pass on another batch of the same size."""
        for field in fields(Batch):
            getattr(self._static, field.name).copy_(getattr(batch, field.name))
        self._graph.replay()
        return self._result[0].clone(), self._result[1].clone()


def _gradient_norms(parameters: list[torch.nn.Parameter]) -> Tensor:
    """One number for each of sixteen groups of parameters."""
    norms = torch._foreach_norm([p.grad for p in parameters if p.grad is not None])
    return torch.stack([group.norm() for group in torch.stack(norms).float().chunk(16)])


def _forget(parameters: list[torch.nn.Parameter]) -> None:
    for parameter in parameters:
        parameter.grad = None

"""Records small operations on a GPU once, then launches all of them at once.

Drawing and learning are made of thousands of small operations; launching each from Python takes
longer than computing it. Elsewhere than on a GPU nothing is recorded and all is simply run.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Generic, TypeVar

import torch

T = TypeVar("T")


class Recorded(Generic[T]):
    """Calls a function without arguments again and again; what it returns is overwritten each time.

    Parameters
    ----------
    run
        Must do the same operations on the same tensors at every call.
    device
        Where it runs.
    source
        What it draws chance from, beside the device's own.
    """

    def __init__(
        self, run: Callable[[], T], device: torch.device, source: torch.Generator | None = None
    ) -> None:
        self._run = run
        self._graph: torch.cuda.CUDAGraph | None = None
        if device.type != "cuda":
            return
        side = torch.cuda.Stream()
        side.wait_stream(torch.cuda.current_stream())
        with torch.cuda.stream(side):
            for _ in range(3):
                run()
        torch.cuda.current_stream().wait_stream(side)
        torch.cuda.synchronize()
        self._graph = torch.cuda.CUDAGraph()
        if source is not None:
            self._graph.register_generator_state(source)
        with torch.cuda.graph(self._graph, capture_error_mode="thread_local"):
            self._result = run()

    def __call__(self) -> T:
        """Once more."""
        if self._graph is None:
            return self._run()
        self._graph.replay()
        return self._result

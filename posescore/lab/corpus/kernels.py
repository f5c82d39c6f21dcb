"""Builds and runs the drawing kernels: by g++ on a CPU, by NVRTC (through CuPy) on a GPU."""

from __future__ import annotations

import ctypes
import hashlib
import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import Any, Final, Protocol

import torch
from torch import Tensor

from posescore.errors import MissingPartError
from posescore.lab.corpus.layout import all_defines

_SOURCE: Final = Path(__file__).with_name("kernels.cu")
_THREADS: Final = 128
_RECORDED_RUNS: Final = 64
_MOST_ARGUMENTS: Final = 32


class Kernels(Protocol):
    """Runs a kernel over so many items."""

    def run(self, name: str, items: int, arguments: list[Tensor | int]) -> None:
        """Run ``name`` with tensors (contiguous, of this device) and numbers."""

    def recorded(self) -> None:
        """Make ready what was recorded: called once after a recording, before its replay."""


def kernels_for(device: torch.device) -> Kernels:
    """The kernels built for a device."""
    return _GpuKernels(device) if device.type == "cuda" else _CpuKernels()


def _values(arguments: list[Tensor | int]) -> list[int]:
    for argument in arguments:
        if isinstance(argument, Tensor) and not argument.is_contiguous():
            raise ValueError("kernels read contiguous tensors only")
    return [a.data_ptr() if isinstance(a, Tensor) else a for a in arguments]


class _CpuKernels:
    def __init__(self) -> None:
        self._library = ctypes.CDLL(str(_built_library()))

    def run(self, name: str, items: int, arguments: list[Tensor | int]) -> None:
        table = torch.tensor(_values(arguments), dtype=torch.int64)
        kernel = getattr(self._library, f"run_{name}")
        kernel(ctypes.c_longlong(items), ctypes.c_void_p(table.data_ptr()))

    def recorded(self) -> None:
        """Nothing is recorded on a CPU."""


class _GpuKernels:
    def __init__(self, device: torch.device) -> None:
        import cupy

        self._cupy: Any = cupy
        self._device = device
        with cupy.cuda.Device(device.index or 0):
            code = all_defines() + _SOURCE.read_text("utf-8")
            self._module = cupy.RawModule(code=code, options=("--std=c++14", "--use_fast_math"))
            self._kernels = {
                n: self._module.get_function(f"run_{n}") for n in ("skin", "raster", "shade")
            }
        self._tables: list[Tensor] = []
        self._kept = torch.zeros(_RECORDED_RUNS, _MOST_ARGUMENTS, dtype=torch.int64, device=device)
        self._kept_values: list[list[int]] = []

    def run(self, name: str, items: int, arguments: list[Tensor | int]) -> None:
        table = self._table(_values(arguments))
        stream = torch.cuda.current_stream(self._device).cuda_stream
        blocks = (items + _THREADS - 1) // _THREADS
        with (
            self._cupy.cuda.Device(self._device.index or 0),
            self._cupy.cuda.ExternalStream(stream),
        ):
            numbers = (self._cupy.int64(items), self._cupy.uint64(table.data_ptr()))
            self._kernels[name]((blocks,), (_THREADS,), numbers)
        self._tables = [*self._tables[-16:], table]  # alive until the kernels that read them ran

    def _table(self, values: list[int]) -> Tensor:
        """The arguments on the device; while recording, a row that is filled afterwards."""
        if not torch.cuda.is_current_stream_capturing():
            return torch.tensor(values, dtype=torch.int64, device=self._device)
        self._kept_values.append(values)
        return self._kept[len(self._kept_values) - 1]

    def recorded(self) -> None:
        """Fill the rows that a recording left open: its addresses never change."""
        for row, values in zip(self._kept, self._kept_values, strict=False):
            row[: len(values)] = torch.tensor(values, dtype=torch.int64)


def _built_library() -> Path:
    compiler = shutil.which("g++")
    if compiler is None:
        raise MissingPartError("Rendering on a CPU needs g++: install it (Debian: g++).")
    code = "#define ON_CPU\n" + all_defines() + _SOURCE.read_text("utf-8")
    digest = hashlib.sha256(code.encode()).hexdigest()[:16]
    folder = Path(tempfile.gettempdir()) / "posescore-kernels"
    folder.mkdir(exist_ok=True)
    library = folder / f"kernels-{digest}.so"
    if not library.exists():
        source = folder / f"kernels-{digest}.cpp"
        source.write_text(code, "utf-8")
        partial = library.with_suffix(".partial")
        flags = ["-O3", "-march=native", "-ffast-math", "-shared", "-fPIC", "-w"]
        subprocess.run([compiler, *flags, str(source), "-o", str(partial)], check=True)
        partial.replace(library)
    return library

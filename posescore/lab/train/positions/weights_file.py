"""Weights of several networks as plain arrays in one file (``.npz``), half precision."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray


def write_weights(
    path: Path, networks: Sequence[Mapping[str, NDArray[Any]]], about: str = ""
) -> None:
    """Keep them under ``<network>.<name>``, and a sentence about how they learned."""
    named = {
        f"{i}.{name}": value.astype(np.float16)
        for i, weights in enumerate(networks)
        for name, value in weights.items()
    }
    path.parent.mkdir(parents=True, exist_ok=True)
    np.savez(path, allow_pickle=False, about=np.array(about), **named)


def read_weights(path: Path) -> list[dict[str, NDArray[Any]]]:
    """What :func:`write_weights` kept, in single precision."""
    with np.load(path, allow_pickle=False) as data:
        names = [key for key in data.files if key != "about"]
        count = 1 + max(int(key.split(".")[0]) for key in names)
        found: list[dict[str, NDArray[Any]]] = [{} for _ in range(count)]
        for key in names:
            index, name = key.split(".", 1)
            found[int(index)][name] = np.asarray(data[key], np.float32)
    return found


def about_weights(path: Path) -> str:
    """How the networks of a file learned, in a sentence; empty where it does not say."""
    with np.load(path, allow_pickle=False) as data:
        return str(data["about"]) if "about" in data.files else ""

"""Weights between runs: half precision, in files small enough to move."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import torch
from torch import Tensor, nn

from posescore.errors import MissingPartError

_FILE_BYTES: Final = 14_000_000


def save_checkpoint(folder: Path, **modules: nn.Module) -> None:
    """Write the weights of modules as ``weights-N.pt``, each file complete or not there."""
    folder.mkdir(parents=True, exist_ok=True)
    parts: list[dict[str, Tensor]] = [{}]
    size = 0
    for prefix, module in modules.items():
        for name, value in module.state_dict().items():
            stored = value.detach().half().cpu() if value.is_floating_point() else value.cpu()
            if size + stored.nbytes > _FILE_BYTES:
                parts.append({})
                size = 0
            parts[-1][f"{prefix}.{name}"] = stored.contiguous()
            size += stored.nbytes
    for number, part in enumerate(parts):
        partial = folder / f"weights-{number}.partial"
        torch.save(part, partial)
        partial.replace(folder / f"weights-{number}.pt")


def load_checkpoint(folder: Path, **modules: nn.Module) -> None:
    """Read weights into modules of the same names.

    Raises
    ------
    MissingPartError
        When there is no checkpoint in the folder.
    """
    files = sorted(folder.glob("weights-*.pt"))
    if not files:
        raise MissingPartError(f"There is no checkpoint in {folder}.")
    state: dict[str, Tensor] = {}
    for file in files:
        state |= torch.load(file, map_location="cpu", weights_only=True)
    for prefix, module in modules.items():
        start = f"{prefix}."
        own = {k[len(start) :]: v for k, v in state.items() if k.startswith(start)}
        fill(module, own)


def fill(module: nn.Module, weights: dict[str, Tensor]) -> None:
    """Load weights; layers that a module has since gained start by changing nothing.

    Raises
    ------
    MissingPartError
        When the weights hold something that the module has not.
    """
    found = module.load_state_dict(weights, strict=False)
    if found.unexpected_keys:
        raise MissingPartError(f"The checkpoint is of another network: {found.unexpected_keys[0]}.")
    closing = (".out.", ".narrow.", ".mix.")
    with torch.no_grad():
        for name, parameter in module.named_parameters():
            if name in found.missing_keys and any(part in name for part in closing):
                parameter.zero_()

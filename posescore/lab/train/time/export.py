"""Writes the model in time as one ONNX file of half the size, and checks it against torch."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import onnx
import torch
from torch import Tensor, nn

from posescore.holds.film.features import N_MOTION, Features
from posescore.holds.film.model import FORMAT, METADATA, OUTPUTS, TimeModel
from posescore.holds.film.outputs import CRITERIA
from posescore.lab.train.onnx_files import OPSET, halve_weights
from posescore.lab.train.time.network import TimeNetwork
from posescore.terms import N_KEYPOINTS, STATES


class _OneFilm(nn.Module):
    """Without the axis of films."""

    def __init__(self, network: TimeNetwork) -> None:
        super().__init__()
        self.network = network

    def forward(self, poses: Tensor, motion: Tensor) -> tuple[Tensor, ...]:
        """Answers of every instant."""
        return tuple(out[0] for out in self.network(poses[None], motion[None]))


def write_time_model(network: TimeNetwork, path: Path, about: Mapping[str, Any]) -> None:
    """Write the network with what calibrates it and how it was made."""
    example = (torch.zeros(40, 2, N_KEYPOINTS, 4), torch.zeros(40, 2, N_MOTION))
    torch.onnx.export(
        _OneFilm(network).eval(),
        example,
        str(path),
        opset_version=OPSET,
        input_names=["poses", "motion"],
        output_names=list(OUTPUTS),
        dynamic_axes={name: {0: "instants"} for name in ("poses", "motion", *OUTPUTS)},
        dynamo=False,
    )
    model = onnx.load(str(path))
    halve_weights(model)
    put_metadata(model, about)
    onnx.checker.check_model(model)
    onnx.save(model, str(path))


def put_metadata(model: onnx.ModelProto, about: Mapping[str, Any]) -> None:
    """What the program reads beside the weights."""
    told = {
        "format": FORMAT,
        "states": [str(state) for state in STATES],
        "criteria": [list(one) for one in CRITERIA],
        **about,
    }
    del model.metadata_props[:]
    model.metadata_props.add(key=METADATA, value=json.dumps(told))


def difference(network: TimeNetwork, path: Path, features: Features) -> float:
    """Largest difference of a state's logit between torch and the file."""
    found = TimeModel.load(path)._run(features)["states"]
    with torch.no_grad():
        given = (torch.from_numpy(a)[None] for a in (features.poses, features.motion))
        expected = network.eval()(*given).states[0].numpy()
    return float(np.abs(found - expected).max())

"""What all of our ONNX files have in common: half-size weights, and what they say of themselves."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, Final

import numpy as np
import onnx
from onnx import TensorProto, helper, numpy_helper

from posescore.pose.estimators.session import METADATA
from posescore.terms import STATES

OPSET: Final = 17
_SMALL: Final = 256
"""Tensors of fewer numbers keep their precision: scales and biases, which weigh nothing."""
_HALF: Final = "_half"


def halve_weights(model: onnx.ModelProto) -> None:
    """Store large float32 weights as float16, each followed by a cast back.

    They are widened once, when a session is made, so that the arithmetic stays float32: laptops'
    processors have no fast float16.
    """
    graph = model.graph
    casts, kept = [], []
    for weight in graph.initializer:
        values = numpy_helper.to_array(weight)
        if weight.data_type != TensorProto.FLOAT or values.size < _SMALL:
            kept.append(weight)
            continue
        name = weight.name + _HALF
        kept.append(numpy_helper.from_array(values.astype(np.float16), name))
        casts.append(helper.make_node("Cast", [name], [weight.name], to=TensorProto.FLOAT))
    del graph.initializer[:]
    graph.initializer.extend(kept)
    nodes = [*casts, *graph.node]
    del graph.node[:]
    graph.node.extend(nodes)


def weights_by_name(model: onnx.ModelProto) -> dict[str, np.ndarray[Any, Any]]:
    """Every weight of a file as it was named before it was halved."""
    return {
        weight.name.removesuffix(_HALF): numpy_helper.to_array(weight)
        for weight in model.graph.initializer
    }


def put_metadata(model: onnx.ModelProto, version: int, about: Mapping[str, Any]) -> None:
    """What the program reads beside the weights."""
    told = {"format": version, "states": [str(state) for state in STATES], **about}
    del model.metadata_props[:]
    model.metadata_props.add(key=METADATA, value=json.dumps(told))

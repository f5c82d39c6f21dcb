"""Opens a network kept as an ONNX file: on the processor, in this process, with nothing sent."""

from __future__ import annotations

import hashlib
import json
import os
from pathlib import Path
from typing import Any, Final, NamedTuple

from posescore.errors import MissingPartError
from posescore.footage.system_libraries import check_memory
from posescore.resources import bytes_of
from posescore.terms import STATES

METADATA: Final = "posescore"
"""Where a network's file keeps what it says of itself, as JSON."""


class Opened(NamedTuple):
    """A session of onnxruntime, the file's SHA-256, and the runtime's name with its version."""

    session: Any
    sha256: str
    runtime: str

    def about(self, path: Path, version: int) -> dict[str, Any]:
        """What the file says beside its weights, of this version and these states.

        Raises
        ------
        MissingPartError
            When it is another file, or of another version.
        """
        kept = self.session.get_modelmeta().custom_metadata_map.get(METADATA, "{}")
        about: dict[str, Any] = json.loads(kept)
        states = [str(state) for state in STATES]
        if about.get("format") != version or about.get("states") != states:
            raise MissingPartError(f"{path} is of another version: install PoseScore again.")
        return about


def opened_network(path: Path, threads: int) -> Opened:
    """Open a network that computes on so many threads.

    Raises
    ------
    MissingPartError
        When the file or the runtime is missing or broken.
    """
    # Read by releases we don't allow, if one is there.
    os.environ["ORT_DISABLE_TELEMETRY"] = "1"
    try:
        import onnxruntime
    except ImportError as error:
        check_memory(error)
        raise MissingPartError("onnxruntime is not installed: install PoseScore again.") from error
    data = bytes_of(path)
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads, options.inter_op_num_threads = threads, 1
    options.log_severity_level = 3
    try:
        session = onnxruntime.InferenceSession(data, options, providers=["CPUExecutionProvider"])
    except Exception as error:  # the runtime raises types of its own, none of them public
        check_memory(error)
        raise MissingPartError(f"{path} is no network that runs here: {error}.") from error
    sha256, runtime = hashlib.sha256(data).hexdigest(), f"onnxruntime {onnxruntime.__version__}"
    return Opened(session, sha256, runtime)

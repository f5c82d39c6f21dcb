"""The runtimes that see footage hold nothing that could send it, or anything else, anywhere."""

from __future__ import annotations

import importlib.metadata
import os
import subprocess
import sys
from pathlib import Path

import pytest

WAYS_OUT = (b"mbedtls_ssl_", b"SSL_CTX_new", b"curl_easy_", b"WinHttpOpen", b"events.data.")
"""Names that a TLS stack, a web client or a collector of usage metrics leaves in a library."""


def libraries(package: str) -> list[Path]:
    files = importlib.metadata.files(package) or []
    ends = (".so", ".dylib", ".dll", ".pyd")
    return [Path(str(f.locate())) for f in files if f.name.endswith(ends) or ".so." in f.name]


@pytest.mark.parametrize("package", ["onnxruntime", "mediapipe"])
def test_the_runtime_has_no_way_out(package: str) -> None:
    found = libraries(package)
    assert found, f"{package} has no library to look into"
    for library in found:
        content = library.read_bytes()
        assert not [name for name in WAYS_OUT if name in content], library.name


@pytest.mark.parametrize(
    "opening",
    [
        "OnnxNetwork(shipped('models', 'pair_finder.onnx'), 1)",
        "TimeModel.load()",
    ],
)
def test_usage_metrics_are_off_before_the_runtime_is_loaded(opening: str) -> None:
    script = (
        "import os, sys\n"
        "from posescore.holds.film.model import TimeModel\n"
        "from posescore.pose.estimators.onnx_network import OnnxNetwork\n"
        "from posescore.resources import shipped\n"
        "assert 'onnxruntime' not in sys.modules\n"
        f"{opening}\n"
        "assert 'onnxruntime' in sys.modules\n"
        "assert os.environ['ORT_DISABLE_TELEMETRY'] == '1'\n"
    )
    environment = {k: v for k, v in os.environ.items() if k != "ORT_DISABLE_TELEMETRY"}
    subprocess.run([sys.executable, "-c", script], check=True, env=environment)

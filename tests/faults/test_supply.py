"""What ships is what was made; what is installed has a licence; nothing calls anywhere."""

from __future__ import annotations

import importlib.metadata
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import posescore
from posescore import resources
from posescore.errors import MissingPartError
from posescore.evaluation.joining import repeated
from posescore.resources import MODELS, SUMS, shipped, shipped_models

ROOT = Path(posescore.__file__).parents[1]
IN_CHECKOUT = pytest.mark.skipif(not (ROOT / "docs").is_dir(), reason="in a checkout alone")
KINDS = {".onnx", ".skops", ".task", ".tflite"}


def test_every_model_is_listed_and_is_what_ships() -> None:
    folder = resources._place_of(MODELS, SUMS).parent
    there = {each.name for each in folder.iterdir() if each.suffix in KINDS}
    assert there == set(shipped_models()), "make models/SHA256SUMS again (DEVELOPERS.md)"
    for name in there:
        assert shipped(MODELS, name).is_file()


def test_an_exchanged_model_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shutil.copytree(resources._place_of(MODELS, SUMS).parent, tmp_path / MODELS)
    (tmp_path / MODELS / "time_model.onnx").write_bytes(b"another network")
    monkeypatch.setattr(resources, "_PACKAGE", tmp_path)
    with pytest.raises(MissingPartError, match="another file than the one that ships"):
        shipped(MODELS, "time_model.onnx")


@IN_CHECKOUT
def test_the_list_of_licences_names_every_dependency() -> None:
    listed = (ROOT / "docs" / "licences.md").read_text("utf-8").lower()
    for wanted in importlib.metadata.requires("posescore") or []:
        if "extra ==" in wanted:
            continue
        name = re.split(r"[<>=!~;\[ ]", wanted, maxsplit=1)[0].lower().replace("_", "-")
        (row,) = re.findall(rf"^\| {re.escape(name)} \|.*", listed, re.MULTILINE)
        assert "unknown" not in row


TRACED = """
import sys
from pathlib import Path
from posescore.analysis.job import analyze_now
from posescore.errors import FootageError
from posescore.export.report import write_report
from posescore.library.library import Library
from posescore.library.match import MatchInfo
with Library(Path(sys.argv[1])) as library:
    try:
        match = analyze_now(library, Path(sys.argv[2]), MatchInfo("traced"))
        write_report(library, match.id, Path(sys.argv[1]) / "report.pdf")
    except FootageError as error:
        print(error)
print("analysed")
"""
CALLS = re.compile(r"(?:connect|sendto|sendmsg)\(.*sa_family=(AF_INET6?)")


@pytest.mark.skipif(shutil.which("strace") is None, reason="strace is not installed")
def test_an_analysis_and_a_report_call_nobody(tmp_path: Path) -> None:
    film, trace = tmp_path / "short.mp4", tmp_path / "trace.txt"
    repeated(shipped("sample_video", "match.mp4"), film, 0.5)
    command = ["strace", "-f", "--seccomp-bpf", "-e", "trace=network", "-o", str(trace)]
    done = subprocess.run(
        [*command, sys.executable, "-c", TRACED, str(tmp_path / "library"), str(film)],
        capture_output=True, text=True, timeout=120, check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    if "ptrace" in done.stderr and "not permitted" in done.stderr:
        pytest.skip("strace may not trace here")
    assert "analysed" in done.stdout, done.stderr
    calls = [line for line in trace.read_text().splitlines() if CALLS.search(line)]
    assert calls == []


@pytest.mark.skipif(shutil.which("strace") is None, reason="strace is not installed")
def test_the_trace_would_show_a_call(tmp_path: Path) -> None:
    trace = tmp_path / "trace.txt"
    code = "import socket; socket.socket(type=socket.SOCK_DGRAM).connect(('127.0.0.1', 9))"
    command = ["strace", "-f", "-e", "trace=network", "-o", str(trace), sys.executable, "-c", code]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    if "ptrace" in done.stderr:
        pytest.skip("strace may not trace here")
    assert CALLS.search(trace.read_text())

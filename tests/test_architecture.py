"""Imports only point downwards, and edge libraries stay in their own room."""

from __future__ import annotations

import ast
from pathlib import Path

import posescore

ROOT = Path(posescore.__file__).parent
FLOOR = {
    "__init__": 0, "terms": 0, "errors": 0, "resources": 0, "footage": 1, "pose": 2,
    "simulation": 3, "position": 4, "holds": 5, "scoring": 6, "library": 7, "export": 8,
    "labelling": 8, "pipeline": 9, "background": 10, "assessment": 10, "batch": 10, "web": 10,
    "benchmark": 11, "printing": 11, "proposal_fit": 11, "options": 12, "measuring": 13,
    "outputs": 13, "cli": 14, "__main__": 15,
}  # fmt: skip
EDGE = {
    "av": {"footage"},
    "cv2": {"footage", "pose", "simulation"},
    "mediapipe": {"pose"},
    "onnxruntime": {"pose", "simulation"},
    "pyarrow": {"pose"},
    "sklearn": {"position"},
    "skops": {"position"},
    "sqlalchemy": {"library"},
    "fastapi": {"web"},
    "nicegui": {"web"},
    "playwright": {"web"},
    "anny": {"simulation"},
    "torch": {"position", "simulation"},
    "moderngl": {"simulation"},
    "fpdf": {"export"},
    "jinja2": {"export"},
}


def room_of(path: Path) -> str:
    return path.relative_to(ROOT).parts[0].removesuffix(".py")


def imports_of(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            found.add(node.module)
            found.update(f"{node.module}.{alias.name}" for alias in node.names)
        assert not (isinstance(node, ast.ImportFrom) and node.level), f"{path}: relative import"
    return found


MODULES = sorted(ROOT.rglob("*.py"))


def test_every_room_has_a_floor() -> None:
    assert {room_of(path) for path in MODULES} <= set(FLOOR)


def test_arrows_point_downwards() -> None:
    upward = []
    for path in MODULES:
        room = room_of(path)
        for name in imports_of(path):
            parts = name.split(".")
            if parts[0] != "posescore" or len(parts) < 2 or parts[1] not in FLOOR:
                continue
            target = parts[1]
            if target != room and FLOOR[target] >= FLOOR[room] > 0:
                upward.append(f"{path.relative_to(ROOT)} imports {name}")
    assert not upward


def test_edge_libraries_stay_in_their_room() -> None:
    astray = [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in MODULES
        for name in imports_of(path)
        if room_of(path) not in EDGE.get(name.split(".")[0], {room_of(path)})
    ]
    assert not astray


def test_modules_stay_readable() -> None:
    long = {
        str(path.relative_to(ROOT)): lines
        for path in MODULES
        if (lines := len(path.read_text("utf-8").splitlines())) > 400
    }
    assert not long, "split these modules"

"""Imports only point downwards and never in circles; edge libraries stay in their own room."""

from __future__ import annotations

import ast
import re
import sys
from functools import cache
from graphlib import CycleError, TopologicalSorter
from pathlib import Path
from typing import Final

import posescore

ROOT: Final = Path(posescore.__file__).parent
ORDER: Final = (
    ("__init__", "terms", "errors"),
    ("words", "reading"),
    ("resources",),
    ("footage",),
    ("pose",),
    ("position",),
    ("holds",),
    ("scoring",),
    ("library",),
    ("export",),
    ("analysis",),
    ("web",),
    ("evaluation",),
    ("cli",),
    ("__main__",),
    ("lab",),
)
"""Rooms from the lowest floor to the highest; ``lab`` is left out of the wheel."""
FLOOR: Final = {room: floor for floor, rooms in enumerate(ORDER) for room in rooms}
EDGE: Final = {
    "anny": {"lab"},
    "av": {"footage", "evaluation"},
    "click": {"cli", "lab"},
    "cupy": {"lab"},
    "cv2": {"footage", "pose", "lab"},
    "fastapi": {"web"},
    "filelock": {"library"},
    "fpdf": {"export"},
    "jinja2": {"export", "web"},
    "jsonschema": {"evaluation"},
    "matplotlib": {"export"},
    "mediapipe": {"pose", "lab"},
    "moderngl": {"lab"},
    "onnx": {"lab"},
    "onnxruntime": {"pose", "lab"},
    "platformdirs": {"library"},
    "playwright": {"evaluation"},
    "pyarrow": {"pose"},
    "pydantic": {"library", "web"},
    "rich": {"cli", "evaluation"},
    "scipy": {"lab"},
    "sklearn": {"evaluation", "lab"},
    "sqlalchemy": {"library"},
    "starlette": {"web"},
    "torch": {"lab"},
    "triton": {"lab"},
    "uvicorn": {"web"},
}
"""Every library that is not needed everywhere, and the rooms that may import it."""
EVERYWHERE: Final = {"numpy"}
NAMED: Final = re.compile(r"(?<!python -m )\bposescore(?:\.\w+)+")
"""A module named in a string; a command for people to type is no arrow."""
MODULES: Final = sorted(ROOT.rglob("*.py"))


def room_of(path: Path) -> str:
    return path.relative_to(ROOT).parts[0].removesuffix(".py")


def module_of(path: Path) -> str:
    parts = path.relative_to(ROOT.parent).with_suffix("").parts
    return ".".join(parts).removesuffix(".__init__")


NAMES: Final = {module_of(path) for path in MODULES}


def _docstrings(tree: ast.Module) -> set[int]:
    """Identities of the bare strings that document something."""
    return {
        id(node.value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }


@cache
def imports_of(path: Path) -> frozenset[str]:
    """Modules imported, wherever in the file, and those of our own that a string names."""
    tree = ast.parse(path.read_text("utf-8"))
    documenting, found = _docstrings(tree), set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found.update(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert not node.level, f"{path}: relative import"
            for alias in node.names:
                full = f"{node.module}.{alias.name}"
                found.add(full if full in NAMES else str(node.module))
        elif isinstance(node, ast.Constant) and id(node) not in documenting:
            found.update(name for name in NAMED.findall(str(node.value)) if name in NAMES)
    return frozenset(found)


def test_every_room_has_a_floor_and_every_floor_a_room() -> None:
    assert {room_of(path) for path in MODULES} == set(FLOOR)


def test_arrows_point_downwards() -> None:
    upward = [
        f"{path.relative_to(ROOT)} names {name}"
        for path in MODULES
        for name in imports_of(path)
        if name.startswith("posescore.")
        and (target := name.split(".")[1]) != (room := room_of(path))
        and FLOOR[target] >= FLOOR[room]
    ]
    assert not upward


def test_no_imports_in_circles() -> None:
    arrows = {
        (own := module_of(path)): {n for n in imports_of(path) if n in NAMES and n != own}
        for path in MODULES
    }
    try:
        TopologicalSorter(arrows).prepare()
    except CycleError as error:
        raise AssertionError(f"circle: {' -> '.join(error.args[1])}") from None


def test_edge_libraries_stay_in_their_room() -> None:
    known = set(sys.stdlib_module_names) | EVERYWHERE | {"posescore", "__future__"}
    outside = {(name.split(".")[0], room_of(path)) for path in MODULES for name in imports_of(path)}
    astray = {
        (library, room)
        for library, room in outside
        if library not in known and room not in EDGE.get(library, {"lab"})
    }
    assert not astray


def test_modules_stay_readable() -> None:
    long = {
        str(path.relative_to(ROOT)): lines
        for path in MODULES
        if (lines := len(path.read_text("utf-8").splitlines())) > 400
    }
    assert not long, "split these modules"


def test_functions_stay_readable() -> None:
    long = [
        f"{path.relative_to(ROOT)}:{node.name} {node.end_lineno - node.body[0].lineno + 1}"
        for path in MODULES
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and node.end_lineno is not None
        and _code_lines(node) > 40
    ]
    assert not long, "split these functions"


def _code_lines(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Lines of the body behind the docstring."""
    first = node.body[0]
    has_words = isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant)
    start = first.end_lineno if has_words else node.lineno
    assert start is not None
    assert node.end_lineno is not None
    return node.end_lineno - start

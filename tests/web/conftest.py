from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from posescore.footage.clock import FrameClock
from posescore.library.library import Library
from posescore.web.app import create_app
from tests.web.small_match import add_match

FRAMES_PER_S = 10.0
N_FRAMES = 400


@pytest.fixture
def clock() -> FrameClock:
    return FrameClock.steady(N_FRAMES, FRAMES_PER_S)


@pytest.fixture(scope="session")
def files(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the clip and the track lie, made by the first test that needs them."""
    return tmp_path_factory.mktemp("files")


@pytest.fixture
def library(files: Path, clock: FrameClock, tmp_path: Path) -> Iterator[Library]:
    with Library(tmp_path / "library") as library:
        add_match(library, files, clock)
        yield library


@pytest.fixture
def app(library: Library) -> FastAPI:
    return create_app(library)


@pytest.fixture
def client(app: FastAPI) -> Iterator[TestClient]:
    with TestClient(app, base_url="http://127.0.0.1:7460") as client:
        yield client


@pytest.fixture
def footage(library: Library) -> Path:
    info = library.match(1).info
    assert info.footage is not None
    return Path(info.footage.path)

from __future__ import annotations

import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, Page, expect

from posescore.analysis.job import analyze_now
from posescore.analysis.sample import sample_match
from posescore.evaluation.browser import chromium_path, headless_browser
from posescore.library.library import Library
from posescore.resources import shipped

PATIENCE_MS = 30_000  # only a busy machine needs so long
expect.set_options(timeout=PATIENCE_MS)
DESK = {"width": 1440, "height": 900}
PHONE = {"width": 390, "height": 844}


AS_INSTALLED = (
    "posescore", "review", "--library", "{folder}/library", "--no-open", "--port", "0",
)  # fmt: skip
"""The program's own command over the library of a folder."""


@dataclass
class Server:
    """The program in a process of its own, over a folder that outlives it."""

    folder: Path
    module: tuple[str, ...] = ("tests.browser.served", "{folder}")
    address: str = ""
    process: subprocess.Popen[str] | None = field(default=None, repr=False)

    def start(self) -> None:
        module = [part.format(folder=self.folder) for part in self.module]
        command = [sys.executable, "-m", *module]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        if "http://" not in line:
            self.stop(signal.SIGKILL)
            pytest.fail(f"the server did not start: {' '.join(command)} said {line!r}")
        self.address = line.split()[-1]

    def stop(self, how: signal.Signals = signal.SIGINT) -> int:
        assert self.process is not None
        self.process.send_signal(how)
        code = self.process.wait(30)
        assert self.process.stdout is not None
        self.process.stdout.close()
        return code


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    if chromium_path() is None:
        pytest.skip("no Chromium here: install it (Debian: chromium) or set POSESCORE_CHROMIUM")
    with headless_browser() as browser:
        yield browser


@pytest.fixture(scope="session")
def served_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("served")


@pytest.fixture(scope="module")
def server(browser: Browser, served_folder: Path) -> Iterator[Server]:
    shutil.rmtree(served_folder / "library", ignore_errors=True)
    server = Server(served_folder)
    server.start()
    yield server
    server.stop()


@pytest.fixture(scope="session")
def sample_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A library with the sample match, analysed from its true keypoints."""
    folder = tmp_path_factory.mktemp("sample")
    keypoints = shipped("sample_video", "keypoints.json")
    with Library(folder / "library") as library:
        analyze_now(library, *sample_match(), {"track_file": str(keypoints)})
    return folder


@dataclass
class Watch:
    """What a page did that it should not have done."""

    said: list[str] = field(default_factory=list)
    left: list[str] = field(default_factory=list)

    def over(self, page: Page) -> None:
        page.on("console", lambda message: self._say(message.type, message.text))
        page.on("pageerror", lambda error: self.said.append(str(error)))
        page.on("request", lambda request: self._ask(request.url))

    def _say(self, kind: str, text: str) -> None:
        if kind in ("error", "warning"):
            self.said.append(f"{kind}: {text}")

    def _ask(self, url: str) -> None:
        parts = urlsplit(url)
        if parts.scheme in ("http", "https", "ws", "wss") and parts.hostname != "127.0.0.1":
            self.left.append(url)


@pytest.fixture
def watch() -> Watch:
    return Watch()


@pytest.fixture
def page(browser: Browser, server: Server, watch: Watch) -> Iterator[Page]:
    """A window of desktop size on the small match's server; ends with a clean conscience."""
    context = browser.new_context(viewport=DESK, base_url=server.address)  # type: ignore[arg-type]
    page = context.new_page()
    page.set_default_timeout(PATIENCE_MS)
    watch.over(page)
    yield page
    context.close()
    assert watch.said == []
    assert watch.left == []

"""The server as a process: quick and quiet, a free port, a clean end, a token elsewhere."""

from __future__ import annotations

import json
import signal
import socket
import subprocess
import sys
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from posescore.errors import InputError
from posescore.library.library import Library
from posescore.web.server import DEFAULT_PORT, serve

PROGRAM = """
import sys
from pathlib import Path
from posescore.library.library import Library
from posescore.web.server import serve
with Library(Path(sys.argv[1])) as library:
    serve(library, sys.argv[2], open_browser=False)
print("left")
"""


@contextmanager
def running(folder: Path, host: str = "127.0.0.1") -> Iterator[tuple[subprocess.Popen[str], str]]:
    command = [sys.executable, "-W", "error", "-c", PROGRAM, str(folder), host]
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        first = process.stdout.readline()
        assert "http://" in first, process.stderr.read() if process.stderr else first
        try:
            yield process, first.split()[-1]
        finally:
            if process.poll() is None:
                process.kill()


def get(address: str) -> object:
    with urllib.request.urlopen(address, timeout=5) as answer:
        return json.load(answer)


def test_serves_until_interrupted_and_leaves_quietly(tmp_path: Path) -> None:
    with running(tmp_path) as (process, address):
        assert address.startswith("http://127.0.0.1:")
        assert get(f"{address}api/matches") == []
        process.send_signal(signal.SIGINT)
        out, problems = process.communicate(timeout=10)
        assert out.splitlines()[-1] == "left"
        assert problems == ""
        assert process.returncode == 0


def test_a_second_server_takes_another_port(tmp_path: Path) -> None:
    with running(tmp_path) as (_, first), running(tmp_path) as (_, second):
        assert first != second
        assert get(f"{second}api/matches") == []


def test_other_machines_need_the_printed_token(tmp_path: Path) -> None:
    with running(tmp_path, "0.0.0.0") as (_, address):
        port, _, token = address.rpartition(":")[2].partition("/?token=")
        assert len(token) >= 32
        plain = f"http://127.0.0.1:{port}/api/matches"
        with pytest.raises(urllib.error.HTTPError) as refused:
            get(plain)
        assert refused.value.code == 401
        refused.value.close()
        opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
        with opener.open(f"{plain}?token={token}", timeout=5) as answer:
            assert json.load(answer) == []


def test_a_port_that_is_taken_is_one_sentence(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken, Library(tmp_path) as library:
        port = taken.getsockname()[1]
        with pytest.raises(InputError, match=f"port {port}"):
            serve(library, port=port, open_browser=False)


def test_a_host_that_is_not_ours_is_one_sentence(tmp_path: Path) -> None:
    with Library(tmp_path) as library, pytest.raises(InputError, match=r"203\.0\.113\.9"):
        serve(library, "203.0.113.9", open_browser=False)


def test_importing_the_room_is_light() -> None:
    heavy = ["fastapi", "starlette", "uvicorn"]
    probe = (
        "import sys, posescore.web, posescore.web.server;"
        f"print([name for name in {heavy} if name in sys.modules])"
    )
    made = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True, check=True)
    assert made.stdout.strip() == "[]"


def test_the_usual_port_is_no_well_known_one() -> None:
    assert 1024 < DEFAULT_PORT < 49152

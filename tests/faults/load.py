"""Many browsers at one server: ``python -m tests.faults.load --clients 50 --seconds 60``.

Every client asks for the list, opens a match, and adds an award, at a person's pace. What comes
out: how long answers took, whether every acknowledged award is in the log, and how much memory the
server takes, idle and after a thousand matches were opened.
"""

from __future__ import annotations

import argparse
import http.client
import json
import os
import random
import socket
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import numpy as np

import posescore
from posescore.footage.clock import FrameClock
from posescore.library.library import Library
from posescore.library.review.edits import AddAward
from tests.library.samples import INFO, analysis
from tests.web.small_match import add_match

PROGRAM = """
import sys
from pathlib import Path
from posescore.library.library import Library
from posescore.web.server import serve
with Library(Path(sys.argv[1])) as library:
    serve(library, port=int(sys.argv[2]), open_browser=False)
"""
HEADERS = {"Content-Type": "application/json"}


class Client(threading.Thread):
    """One browser; what it sent and how long the answers took."""

    def __init__(self, number: int, port: int, until_s: float, pause_s: float) -> None:
        super().__init__()
        self.number, self.until_s, self.pause_s = number, until_s, pause_s
        self.asked = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        self.took_s: dict[str, list[float]] = {"list": [], "match": [], "edit": []}
        self.acknowledged: list[str] = []
        self.refused: list[str] = []

    def run(self) -> None:
        """Go on until the end."""
        rng = random.Random(self.number)
        while time.monotonic() < self.until_s:
            time.sleep(rng.uniform(0.5, 1.5) * self.pause_s)
            match rng.choice(("list", "match", "edit", "edit")):
                case "list":
                    self._ask("list", "GET", "/api/library")
                case "match":
                    self._ask("match", "GET", "/api/matches/1")
                case _:
                    self._edit()
        self.asked.close()

    def _edit(self) -> None:
        reason = f"{self.number}-{len(self.took_s['edit'])}"
        edit = {"kind": "add_award", "athlete": "A", "award": "sweep", "time_s": 1.0, "points": 2}
        body = {"author": f"client {self.number}", "opinion": f"client {self.number}"}
        if self._ask(
            "edit", "POST", "/api/matches/1/edits", {**body, "edit": edit | {"reason": reason}}
        ):
            self.acknowledged.append(reason)

    def _ask(self, kind: str, method: str, path: str, body: object = None) -> bool:
        began = time.monotonic()
        content = None if body is None else json.dumps(body)
        self.asked.request(method, path, content, HEADERS)
        answer = self.asked.getresponse()
        text = answer.read()
        self.took_s[kind].append(time.monotonic() - began)
        if answer.status != 200:
            self.refused.append(text.decode()[:200])
        return answer.status == 200


def memory_mb(process: int) -> float:
    """Resident memory of a process."""
    pages = int(Path(f"/proc/{process}/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20


def _open(port: int, numbers: range) -> None:
    asked = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    for number in numbers:
        asked.request("GET", f"/api/matches/{number}")
        answer = asked.getresponse()
        assert answer.status == 200, answer.read()
        answer.read()
    asked.close()


def main() -> int:
    """Measure; 1 where anything was lost or refused."""
    parser = argparse.ArgumentParser(prog="python -m tests.faults.load", description=__doc__)
    parser.add_argument("--clients", type=int, default=50)
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--pause", type=float, default=1.0, help="seconds between requests")
    parser.add_argument("--matches", type=int, default=1000, help="opened for the memory")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as root:
        folder = Path(root) / "library"
        _fill(folder, Path(root), given.matches)
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        command = [sys.executable, "-c", PROGRAM, str(folder), str(port)]
        environment = {**os.environ, "PYTHONPATH": str(Path(posescore.__file__).parents[1])}
        with subprocess.Popen(command, stdout=subprocess.PIPE, env=environment) as server:
            assert server.stdout is not None
            server.stdout.readline()
            try:
                return _measured(given, folder, port, server.pid)
            finally:
                server.terminate()


def _fill(folder: Path, place: Path, matches: int) -> None:
    with Library(folder) as library:
        add_match(library, place, FrameClock.steady(400, 10.0))
        for _ in range(matches):
            library.save_analysis(library.add_match(INFO).id, analysis())


def _measured(given: argparse.Namespace, folder: Path, port: int, server: int) -> int:
    _open(port, range(1, 3))
    idle = memory_mb(server)
    _open(port, range(2, given.matches + 2))
    print(f"memory: {idle:.0f} MB idle, {memory_mb(server):.0f} MB after {given.matches} matches")
    until_s = time.monotonic() + given.seconds
    clients = [Client(n, port, until_s, given.pause) for n in range(given.clients)]
    for client in clients:
        client.start()
    for client in clients:
        client.join()
    for kind in ("list", "match", "edit"):
        took = np.concatenate([client.took_s[kind] or [0.0] for client in clients]) * 1000
        middle, most = np.percentile(took, (50, 95))
        print(f"{kind}: {len(took)} answers, median {middle:.0f} ms, 95 % {most:.0f} ms")
    everything = np.concatenate([t for c in clients for t in c.took_s.values() if t]) * 1000
    refused = [said for client in clients for said in client.refused]
    lost = _lost(folder, clients)
    print(f"all: 95 % {np.percentile(everything, 95):.0f} ms; {len(refused)} refused, {lost} lost")
    print(f"memory: {memory_mb(server):.0f} MB at the end", *refused[:3])
    return int(bool(refused or lost))


def _lost(folder: Path, clients: list[Client]) -> int:
    with Library(folder) as library:
        edits = [entry.edit for entry in library.log(1) if isinstance(entry.edit, AddAward)]
    kept = [edit.reason for edit in edits]
    wanted = [reason for client in clients for reason in client.acknowledged]
    return len(set(wanted) - set(kept)) + len(kept) - len(set(kept))


if __name__ == "__main__":
    sys.exit(main())

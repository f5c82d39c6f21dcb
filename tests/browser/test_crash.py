"""What was acknowledged is there after the server was killed."""

from __future__ import annotations

import json
import shutil
import signal
import urllib.request
from http.client import HTTPException
from pathlib import Path
from threading import Semaphore, Thread
from typing import Any

import pytest
from playwright.sync_api import Browser, expect

from posescore.library.library import Library
from tests.browser.conftest import Server
from tests.browser.room import open_match, wait_for_points

pytestmark = pytest.mark.browser

PATIENCE_S = 60.0  # only a busy machine needs so long


def ask(server: Server, path: str, body: dict[str, Any] | None = None) -> dict[str, Any]:
    data = None if body is None else json.dumps(body).encode()
    headers = {"Content-Type": "application/json"}
    request = urllib.request.Request(f"{server.address}api/matches/1{path}", data, headers)
    with urllib.request.urlopen(request, timeout=5) as answer:
        made: dict[str, Any] = json.load(answer)
        return made


def add_awards(
    server: Server, author: str, acknowledged: list[tuple[str, int]], answered: Semaphore
) -> None:
    """Add awards without end; what the server acknowledged is written down, until it is gone."""
    for number in range(10_000):
        award = {"kind": "add_award", "athlete": "A", "award": "sweep", "time_s": 20.0, "points": 2}
        body = {"edit": {**award, "reason": f"{author} {number}"}, "author": author}
        try:
            answer = ask(server, "/edits", body)
        except (OSError, HTTPException):
            return
        acknowledged.append((f"{author} {number}", answer["last_entry_id"]))
        answered.release()


def test_killed_while_edits_stream_in(served_folder: Path) -> None:
    """Two people edit as fast as they can; the server dies; nothing acknowledged is lost."""
    shutil.rmtree(served_folder / "library", ignore_errors=True)
    server = Server(served_folder)
    kept: list[tuple[str, int]] = []
    for round_number, edits in enumerate((4, 9)):
        server.start()
        said: list[tuple[str, int]] = []
        answered = Semaphore(0)
        people = [f"{name} in round {round_number}" for name in ("Ann", "Ben")]
        threads = [
            Thread(target=add_awards, args=(server, name, said, answered)) for name in people
        ]
        for thread in threads:
            thread.start()
        for _ in range(edits):
            assert answered.acquire(timeout=PATIENCE_S)
        assert server.stop(signal.SIGKILL) == -signal.SIGKILL
        for thread in threads:
            thread.join(30)
        kept += said
    with Library(served_folder / "library") as library:
        log = {entry.id: entry.edit for entry in library.log(1)}
        reasons = {number: getattr(edit, "reason", "") for number, edit in log.items()}
        assert {number: reason for reason, number in kept}.items() <= reasons.items()
        assert len(kept) <= len(log) <= len(kept) + 4  # at most one of each person not yet answered
        added = [item for item in library.review(1).items if item.added]
        assert len(added) == len(log)


def test_killed_in_the_middle_of_edits(browser: Browser, served_folder: Path) -> None:
    shutil.rmtree(served_folder / "library", ignore_errors=True)
    server = Server(served_folder)
    server.start()
    before = ask(server, "")
    for proposal in before["proposals"][:3]:
        ask(server, "/edits", {"edit": {"kind": "confirm", "proposal": proposal["id"]}})
    acknowledged = ask(server, "/undo", {})
    page = browser.new_page(base_url=server.address)
    open_match(page)
    assert server.stop(signal.SIGKILL) == -signal.SIGKILL

    page.keyboard.press("a")
    page.get_by_label("What happened").select_option("sweep")
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Add", exact=False).last.click()
    window = page.get_by_role("dialog")
    expect(window.get_by_role("alert")).to_contain_text("Not saved")
    expect(window.get_by_label("What happened")).to_have_value("sweep")
    page.close()

    server.start()
    after = ask(server, "")
    assert after == acknowledged
    assert after["redo"] == "confirm a proposal"
    page = browser.new_page(base_url=server.address)
    open_match(page)
    wait_for_points(page, "A", after["score"]["confirmed"]["A"]["points"])
    page.close()
    server.stop()

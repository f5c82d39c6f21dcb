"""What was acknowledged is there after the server was killed."""

from __future__ import annotations

import json
import shutil
import signal
import urllib.request
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, expect

from tests.browser.conftest import Server
from tests.browser.room import open_match, wait_for_points

pytestmark = pytest.mark.browser


def ask(server: Server, path: str, body: dict[str, Any] | None = None) -> dict[str, Any]:
    data = None if body is None else json.dumps(body).encode()
    headers = {"Content-Type": "application/json"}
    request = urllib.request.Request(f"{server.address}api/matches/1{path}", data, headers)
    with urllib.request.urlopen(request, timeout=5) as answer:
        made: dict[str, Any] = json.load(answer)
        return made


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
    expect(page.get_by_role("alert")).to_contain_text("Not saved")
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

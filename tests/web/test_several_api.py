"""Several people over the API: what was seen, both sides, history, and the sheet for one call."""

from __future__ import annotations

import asyncio
import io
import json
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pypdf
import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from posescore.library.library import Library
from posescore.library.review.edits import Confirm
from posescore.web.api.changes import _news


def line(client: TestClient, number: int = 0) -> str:
    return str(client.get("/api/matches/1").json()["proposals"][number]["id"])


def edit(client: TestClient, edit: dict[str, Any], author: str, **more: Any) -> Any:
    how = {"headers": more.pop("headers", {})}
    body = {"edit": edit, "author": author, **more}
    return client.post("/api/matches/1/edits", json=body, **how)


@pytest.mark.parametrize("how", ["seen", "If-Match"])
def test_an_edit_of_what_changed_since_gets_both_sides(client: TestClient, how: str) -> None:
    shown = client.get("/api/matches/1")
    assert shown.headers["etag"] == '"0"'
    key = line(client)
    assert edit(client, {"kind": "dismiss", "proposal": key, "reason": "short"}, "Ben").is_success
    mine = {"kind": "confirm", "proposal": key}
    stale: dict[str, Any] = {"seen": 0} if how == "seen" else {"headers": {"If-Match": '"0"'}}
    refused = edit(client, mine, "Ann", **stale)
    assert refused.status_code == 409
    said = refused.json()
    assert "Ben changed this since it was shown" in said["error"]
    changed = said["changed"]
    assert (changed["by"], changed["did"], changed["line"]) == ("Ben", "dismiss a proposal", key)
    assert "takedown, 2 points, Ines Vaz" in changed["before"]
    assert changed["now"].startswith("Ben: dismissed: takedown, 2 points, Ines Vaz")
    again = edit(client, mine, "Ann", seen=changed["last_entry_id"])
    assert again.is_success
    assert again.headers["etag"] == f'"{again.json()["last_entry_id"]}"'


def test_a_tag_that_is_none_is_refused(client: TestClient) -> None:
    mine = {"kind": "confirm", "proposal": line(client)}
    refused = edit(client, mine, "Ann", headers={"If-Match": "*"})
    assert refused.status_code == 422
    assert "If-Match" in refused.json()["error"]


def test_the_history_tells_every_step_and_takes_any_back(client: TestClient) -> None:
    key = line(client)
    edit(client, {"kind": "confirm", "proposal": key}, "Ann")
    moved = {"kind": "set_edge", "hold": "12500-16500-open_guard-A", "edge": "end", "to_s": 16.0}
    edit(client, moved, "Ben")
    edit(client, {"kind": "add_event", "event": "tap", "time_s": 38.5, "athlete": "B"}, "Ben")
    undone = client.post("/api/matches/1/undo", json={"author": "Ann"}).json()
    assert (undone["undo"], undone["redo"]) == (None, "confirm a proposal")
    assert client.get("/api/matches/1", params={"author": "Ben"}).json()["undo"] == "mark an event"
    told = client.get("/api/matches/1/history").json()
    assert told["older"] is None
    assert [(e["author"], e["what"], e["in_force"]) for e in told["entries"]] == [
        ("Ann", "take back: confirm a proposal, by Ann", None),
        ("Ben", "mark an event", True),
        ("Ben", "move the edge of a hold", True),
        ("Ann", "confirm a proposal", False),
    ]
    back, tap, edge, first = told["entries"]
    assert (back["about"], back["before"][:9], back["after"][:8]) == (
        first["id"],
        "confirmed",
        "proposed",
    )
    assert (tap["before"], tap["after"]) == ("not marked", "Gives up (tap), Noa Berg, 0:38.50")
    assert "0:12.50 to 0:16.50" in edge["before"]
    assert "0:12.50 to 0:16.00" in edge["after"]
    assert first["taken_back_by"] == "Ann"
    address = f"/api/matches/1/history/{tap['id']}"
    assert client.post(f"{address}/take-back", json={"author": "Ann"}).is_success
    assert client.post(f"{address}/take-back", json={"author": "Ann"}).status_code == 409
    assert client.post(f"{address}/put-back", json={"author": "Cleo"}).is_success


def test_a_long_history_comes_in_pages(client: TestClient, library: Library) -> None:
    for number in range(60):
        library.edit(1, Confirm(line(client)), f"person {number}")
        library.undo(1, f"person {number}")
    newest = client.get("/api/matches/1/history").json()
    assert len(newest["entries"]) == 100
    older = client.get("/api/matches/1/history", params={"before": newest["older"]}).json()
    assert len(older["entries"]) == 20
    assert older["older"] is None
    assert older["entries"][-1]["before"].startswith("proposed: takedown")


def test_news_come_as_they_happen_and_end_with_the_server(app: FastAPI, library: Library) -> None:
    class Request:
        def __init__(self) -> None:
            self.app = app

        async def is_disconnected(self) -> bool:
            return False

    async def heard() -> list[str]:
        news = _news(library, 1, "", 0, Request())  # type: ignore[arg-type]
        said = [await anext(news)]
        library.edit(1, Confirm(library.review(1).items[0].key), "Ben")
        said.append(await asyncio.wait_for(anext(news), 5))
        app.state.leaving = True
        said.extend([more async for more in news])
        return said

    with ThreadPoolExecutor(1) as alone:  # a browser's loop may run in this thread
        first, second = alone.submit(asyncio.run, heard()).result()
    assert first.startswith("retry:")
    told = json.loads(second.split("data: ")[1])
    assert told == {
        "last_entry_id": 1, "author": "Ben", "words": "confirm a proposal, 0:10.00"
    }  # fmt: skip


def test_news_of_a_match_that_is_not_there(client: TestClient) -> None:
    assert client.get("/api/matches/99/news").status_code == 404


def test_the_sheet_of_a_line_is_one_page_and_of_no_line_a_sentence(client: TestClient) -> None:
    key = line(client, 3)
    paper = client.get("/api/matches/1/call", params={"line": key, "format": "pdf"})
    assert paper.headers["content-type"] == "application/pdf"
    assert len(pypdf.PdfReader(io.BytesIO(paper.content)).pages) == 1
    html = client.get("/api/matches/1/call", params={"line": key, "hide_faces": True}).text
    assert "The referee&#39;s call stands" in html
    assert html.count("data:image/jpeg") >= 2
    for wrong in ({"line": "nothing"}, {"one": "Nobody"}):
        assert client.get("/api/matches/1/call", params=wrong).status_code == 404


def test_a_sheet_with_long_reasons_stays_one_page(client: TestClient) -> None:
    key = line(client, 2)
    for who in ("Cleo", "Dag"):
        edit(
            client,
            {"kind": "dismiss", "proposal": key, "reason": "Because. " * 33},
            who,
            opinion=who,
        )
    paper = client.get("/api/matches/1/call", params={"line": key, "format": "pdf"})
    assert len(pypdf.PdfReader(io.BytesIO(paper.content)).pages) == 1

"""Outputs that take a while: made beside the server, watched, saved, stopped."""

from __future__ import annotations

import io
import re
import time
from typing import Any
from zipfile import ZipFile

import pytest
from starlette.testclient import TestClient

from posescore.library.jobs import JobState
from posescore.library.library import Library
from posescore.web.app import create_app
from posescore.web.jobs.outputs import MOST_KEPT

URL = "/api/matches/1"
PATIENCE_S = 60.0


def queued(client: TestClient, kind: str, **options: object) -> dict[str, Any]:
    answer = client.post(f"{URL}/outputs", json={"kind": kind, **options})
    assert answer.status_code == 202, answer.text
    made: dict[str, Any] = answer.json()
    return made


def ended(client: TestClient, output_id: int) -> dict[str, Any]:
    give_up_s = time.monotonic() + PATIENCE_S
    while time.monotonic() < give_up_s:
        made: dict[str, Any] = client.get(f"/api/outputs/{output_id}").json()
        if JobState(made["state"]).is_final:
            return made
        time.sleep(0.05)
    raise AssertionError(made)


def content(client: TestClient, kind: str, **options: object) -> tuple[dict[str, Any], bytes]:
    made = ended(client, queued(client, kind, **options)["id"])
    assert made["state"] == "done", made
    answer = client.get(made["file"])
    assert made["name"] in answer.headers["content-disposition"]
    assert "attachment" in answer.headers["content-disposition"]
    return made, answer.content


def test_reports_lesson_and_clips_come_out(client: TestClient) -> None:
    made, html = content(client, "report-html")
    assert made["name"] == "ines-vaz-v-noa-berg-report.html"
    assert html.startswith(b"<!DOCTYPE html>")
    _, pdf = content(client, "report-pdf", hide_faces=True)
    assert pdf.startswith(b"%PDF-")
    made, box = content(client, "clips", proposed=True)
    assert made["progress"] == 1
    names = ZipFile(io.BytesIO(box)).namelist()
    assert len(names) == 5
    assert all(name.endswith(".mp4") and "proposed" in name for name in names)
    _, lesson = content(client, "lesson", skeletons=False)
    assert b"a lesson" in lesson
    assert b"Nothing to show yet" in lesson, "only what was confirmed, unless asked otherwise"
    listed = client.get(f"{URL}/outputs").json()
    assert [each["kind"] for each in listed] == ["report-html", "report-pdf", "clips", "lesson"]


def test_what_cannot_be_made_says_why_in_one_sentence(client: TestClient) -> None:
    made = ended(client, queued(client, "clips", proposed=False)["id"])
    assert made["state"] == "failed"
    assert "no award is confirmed yet" in made["message"]
    assert client.get(f"/api/outputs/{made['id']}/file").status_code == 409
    assert client.get("/api/outputs/77").status_code == 404
    assert client.post(f"{URL}/outputs", json={"kind": "song"}).status_code == 422
    assert client.post("/api/matches/9/outputs", json={"kind": "film"}).status_code == 404


def test_pages_stay_quick_while_a_film_is_made_and_it_can_be_stopped(client: TestClient) -> None:
    film, waiting = queued(client, "film"), queued(client, "report-pdf")
    give_up_s = time.monotonic() + PATIENCE_S
    while not client.get(f"/api/outputs/{film['id']}").json()["progress"]:
        assert time.monotonic() < give_up_s
        time.sleep(0.02)
    assert client.get(URL).status_code == 200
    for each in (waiting, film):
        assert client.post(f"/api/outputs/{each['id']}/stop").json()["state"] == "cancelled"
    assert client.get(f"/api/outputs/{film['id']}/file").status_code == 409
    made, html = content(client, "report-html")  # and the next one is made all the same
    assert html
    assert client.post(f"/api/outputs/{made['id']}/stop").json()["state"] == "done"


@pytest.mark.parametrize("count", [MOST_KEPT + 2])
def test_the_oldest_outputs_are_forgotten(client: TestClient, count: int) -> None:
    for _ in range(count):
        made = queued(client, "report-html")
        client.post(f"/api/outputs/{made['id']}/stop")
    assert len(client.get(f"{URL}/outputs").json()) == MOST_KEPT
    assert client.get("/api/outputs/1").status_code == 404


def test_a_library_to_look_at_has_outputs_too(library: Library) -> None:
    with (
        Library(library.folder, read_only=True) as looked_at,
        TestClient(create_app(looked_at), base_url="http://127.0.0.1:7460") as client,
    ):
        _, html = content(client, "report-html")
    assert html.startswith(b"<!DOCTYPE html>")
    assert not (library.folder / "outputs").exists()


def test_names_are_hidden_together_with_faces(client: TestClient) -> None:
    line = client.get(URL).json()["proposals"][0]
    wanted = {"kind": "confirm", "proposal": line["id"]}
    assert (
        client.post(f"{URL}/edits", json={"edit": wanted, "author": "Noa Berg"}).status_code == 200
    )
    missed = {
        "kind": "add_award", "athlete": "A", "award": "sweep", "points": 2, "advantage": 0,
        "time_s": 20.0, "reason": "Ines came up, BERG was flat",
    }  # fmt: skip
    won = {"kind": "set_result", "by": "referee", "winner": "A", "note": "Noa Berg was hurt"}
    for said in (missed, won):
        assert client.post(f"{URL}/edits", json={"edit": said, "author": "Kim"}).status_code == 200
    for kind in ("report-html", "lesson"):
        made, page = content(client, kind, hide_faces=True)
        assert made["name"].startswith("match-1-")
        text = page.decode().casefold()
        for name in ("ines", "vaz", "noa", "berg"):
            assert not re.search(rf"\b{name}\b", text), (kind, name)
        assert "a (white)" in text
        assert "kim" in text, "who reviewed it is no athlete"
    _, plain = content(client, "report-html")
    assert "Ines Vaz" in plain.decode()


def test_names_are_hidden_on_the_sheet_for_one_call(client: TestClient) -> None:
    line = client.get(URL).json()["proposals"][0]["id"]
    said = {"kind": "dismiss", "proposal": line, "reason": "BERG was flat"}
    won = {"kind": "set_result", "by": "referee", "winner": "A", "note": "Noa Berg was hurt"}
    for edit in (said, won):
        assert client.post(f"{URL}/edits", json={"edit": edit, "author": "Kim"}).status_code == 200
    asked = {"line": line, "hide_faces": True}
    sheet = client.get(f"{URL}/call", params=asked)
    for text in (sheet.text.casefold(), sheet.headers["content-disposition"].casefold()):
        for name in ("ines", "vaz", "noa", "berg"):
            assert not re.search(rf"\b{name}\b", text), name
    assert "a (white)" in sheet.text.casefold()


def test_what_is_only_proposed_stays_out_of_what_is_only_confirmed(client: TestClient) -> None:
    """The table of differences would tell it all the same."""
    _, confirmed = content(client, "report-html", proposed=False)
    assert "Where proposals, log and scoreboard differ" not in confirmed.decode()
    _, all_of_it = content(client, "report-html", proposed=True)
    assert "Where proposals, log and scoreboard differ" in all_of_it.decode()


ENGLISH = re.compile(
    r"\b(the|and|of|is|are|with|for|from|this|that|what|not|here|yet|was|has|it|confirmed|points?|match|frame|seconds)\b",
    re.IGNORECASE,
)


@pytest.mark.parametrize("kind", ["report-html", "lesson"])
def test_an_output_is_in_the_language_it_was_asked_for_in(client: TestClient, kind: str) -> None:
    client.headers["accept-language"] = "pt-BR"
    line = client.get(URL).json()["proposals"][0]
    client.post(f"{URL}/edits", json={"edit": {"kind": "confirm", "proposal": line["id"]}})
    _, page = content(client, kind, proposed=True)
    text = page.decode()
    assert 'lang="pt-BR"' in text
    body = re.sub(r"<style>.*?</style>|<[^>]*>", " ", text.partition("<body>")[2], flags=re.DOTALL)
    left = [part for part in body.split("\n") if ENGLISH.search(part)]
    assert [part for part in left if "left knee stays" not in part] == []

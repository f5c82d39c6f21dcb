"""What a request may bring, how long the server waits, and what stands in the terminal."""

from __future__ import annotations

import http.client
import json
import socket
import sqlite3
import time
from contextlib import closing
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from posescore.library.library import Library
from posescore.web import limits, patience
from posescore.web.app import create_app
from posescore.web.guard import COOKIE, Access
from posescore.web.jobs import outputs
from posescore.web.limits import MOST_BODY_BYTES
from tests.web.test_server import running

BASE = "http://127.0.0.1:7460"
JSON = {"content-type": "application/json"}
EDITS = "/api/matches/1/edits"


def test_a_damaged_match_is_listed_as_damaged_and_the_others_as_before(
    client: TestClient, library: Library
) -> None:
    before = client.get("/api/library").json()["matches"]
    with closing(sqlite3.connect(library.path)) as database:
        row = "INSERT INTO match (info, search, added_at, changed_at) VALUES ('x', '', '', '')"
        database.execute(row)
        database.commit()
    listed = client.get("/api/library").json()["matches"]
    damaged = next(row for row in listed if row["title"].endswith("damaged"))
    assert damaged["stage"] == "failed"
    assert "table 'match'" in damaged["standing"]["trouble"]
    assert [row for row in listed if row is not damaged] == before
    assert client.get(f"/api/library/{damaged['id']}").status_code == 507


def test_a_review_opens_without_its_track(client: TestClient, library: Library) -> None:
    (track,) = (library.folder / "matches" / "1").glob("track-*")
    track.write_bytes(b"another film's")
    body = client.get("/api/matches/1").json()
    assert body["track"] is None
    assert body["holds"]
    assert "another track" in body["set_aside"][0]


def test_a_body_that_is_too_large_is_not_read(client: TestClient) -> None:
    body = json.dumps({"edit": {"kind": "confirm", "proposal": "x" * (MOST_BODY_BYTES + 1)}})
    answer = client.post(EDITS, content=body)
    assert answer.status_code == 413
    assert len(answer.text) < 200
    pieces = (b"x" * 100_000 for _ in range(20))
    assert client.post(EDITS, content=pieces).status_code == 413


@pytest.mark.parametrize(
    ("edit", "word"),
    [
        ({"kind": "confirm", "proposal": "\ud800"}, "half a letter"),
        ({"kind": "\ud800"}, "half a letter"),
        ({"kind": "dismiss", "proposal": "x", "reason": "x" * 5000}, "4000 letters"),
    ],
)
def test_texts_have_limits(client: TestClient, edit: dict[str, str], word: str) -> None:
    answer = client.post(EDITS, content=json.dumps({"edit": edit}), headers=JSON)
    assert answer.status_code == 422
    assert word in answer.json()["error"]


def test_what_is_no_json_is_a_documented_refusal(app: FastAPI, client: TestClient) -> None:
    for content in (b"\xff\xfe", b'{"edit": ' + b"[" * 100_000):
        answer = client.post(EDITS, content=content, headers=JSON)
        assert answer.status_code in (400, 422)
        assert answer.json()["error"].endswith(".")
    for path in app.openapi()["paths"].values():
        for operation in path.values():
            assert {"400", "405", "408", "413"} <= operation["responses"].keys()


def test_a_wrong_method_is_named(client: TestClient) -> None:
    for method, path, allowed in (
        ("POST", "/api/matches/1/clock", "GET"),
        ("GET", EDITS, "POST"),
        ("PUT", "/api/matches/1", "DELETE, GET, PATCH"),
    ):
        answer = client.request(method, path)
        assert answer.status_code == 405
        assert answer.headers["allow"] == allowed
    assert client.delete("/api/nothing/of/the/kind").status_code == 404


def test_a_path_too_long_is_a_sentence(client: TestClient) -> None:
    with TestClient(client.app, base_url=BASE, client=("127.0.0.1", 5)) as here:
        answer = here.post("/api/footage/scan", json={"path": "/" + "x" * 3000})
    assert answer.status_code == 422
    assert len(answer.json()["error"]) < 200


def test_redirects_stay_on_this_server(library: Library) -> None:
    app = create_app(library, Access("right"))
    with TestClient(app, base_url=BASE, follow_redirects=False) as client:
        for path in ("//evil.example/", "///evil.example/", "/\\evil.example/", "/%5Cevil/"):
            client.cookies.clear()
            answer = client.get(f"http://127.0.0.1:7460{path}?token=right")
            assert answer.status_code == 303
            where = urlsplit(answer.headers["location"].replace("\\", "/"))
            assert not where.netloc
            assert COOKIE in answer.headers["set-cookie"]


def test_outputs_asked_for_twice_are_made_once_and_too_many_are_refused(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(outputs, "MOST_WAITING", 2)
    monkeypatch.setattr(outputs.Supervisor, "_look", lambda self: None)
    asked = [
        client.post("/api/matches/1/outputs", json={"kind": kind})
        for kind in ("film", "film", "lesson", "clips")
    ]
    assert [answer.status_code for answer in asked] == [202, 202, 202, 409]
    assert asked[0].json()["id"] == asked[1].json()["id"]


def test_a_failure_of_ours_is_one_line_in_the_terminal(
    client: TestClient, library: Library, monkeypatch: pytest.MonkeyPatch,
    capfd: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    monkeypatch.delenv("POSESCORE_DEBUG", raising=False)
    monkeypatch.setattr(library, "jobs", lambda *_: 1 / 0)
    answer = client.get("/api/jobs")
    assert answer.status_code == 500
    assert "ZeroDivisionError" in answer.json()["error"]
    said = capfd.readouterr().err
    assert len(said.splitlines()) == 1
    monkeypatch.setattr(library, "jobs", lambda *_: bytearray(2**62))
    answer = client.get("/api/jobs")
    assert answer.status_code == 507
    assert "not enough memory" in answer.json()["error"]
    monkeypatch.setattr(library, "jobs", lambda *_: 1 / 0)
    monkeypatch.setenv("POSESCORE_DEBUG", "1")
    with pytest.raises(ZeroDivisionError):
        client.get("/api/jobs")


PROGRAM = """
import sys
from pathlib import Path
from posescore.library.library import Library
from posescore.web import limits, patience
from posescore.web.server import serve
limits.BODY_WITHIN_S = patience.HEAD_WITHIN_S = 0.5
patience.MOST_WAITING = 30
with Library(Path(sys.argv[1])) as library:
    serve(library, sys.argv[2], open_browser=False)
print("left")
"""


def test_half_sent_requests_are_let_go_and_the_server_answers(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tests.web.test_server.PROGRAM", PROGRAM)
    head = b"POST /api/matches HTTP/1.1\r\nHost: 127.0.0.1\r\n"
    body = head + b"Content-Type: application/json\r\nContent-Length: 100\r\n\r\n{"
    with running(tmp_path) as (_, address):
        where = urlsplit(address)
        held = [socket.create_connection((where.hostname, where.port or 0)) for _ in range(60)]
        for number, each in enumerate(held):
            each.sendall((b"", head, body)[number % 3])
        began = time.monotonic()
        asked = http.client.HTTPConnection(str(where.hostname), where.port, timeout=5)
        asked.request("GET", "/api/matches")
        assert asked.getresponse().status == 200
        assert time.monotonic() - began < 2
        asked.close()
        for each in held:
            each.settimeout(5)
            try:
                said = each.recv(1000)
                assert said == b"" or b" 408 " in said
            except ConnectionResetError:
                pass
            each.close()


def test_the_bounds_leave_room_for_what_pages_send() -> None:
    assert limits.BODY_WITHIN_S >= 10
    assert patience.HEAD_WITHIN_S >= 5
    assert patience.MOST_WAITING >= 50 * 6, "fifty browsers open six connections each"


def test_listening_for_others_warns_that_nothing_is_encrypted(tmp_path: Path) -> None:
    with running(tmp_path, "0.0.0.0") as (process, _):
        process.terminate()
        assert process.stderr is not None
        assert "not encrypted" in process.stderr.read()


def test_more_footage_than_was_announced_is_refused_and_leaves_nothing(
    client: TestClient, library: Library
) -> None:
    announced = client.post("/api/footage", json={"name": "round.mp4", "size_bytes": 1000})
    answer = client.put(f"/api/footage/{announced.json()['key']}", content=b"x" * 1001)
    assert answer.status_code == 422
    assert "larger than was announced" in answer.json()["error"]
    assert not list((library.folder / "incoming").iterdir())

"""Who is let in: loopback names, our own origin, the holder of the token."""

from __future__ import annotations

import pytest
from fastapi import FastAPI
from hypothesis import given
from hypothesis import strategies as st
from starlette.testclient import TestClient

from posescore.library.library import Library
from posescore.web.app import create_app
from posescore.web.guard import COOKIE, Access, is_loopback

TOKEN = "a-long-token-that-nobody-guesses"


@pytest.fixture
def remote(library: Library) -> TestClient:
    app = create_app(library, Access(TOKEN))
    return TestClient(app, base_url="http://hall.example:7460", follow_redirects=False)


@pytest.mark.parametrize("host", ["127.0.0.1:7460", "localhost:7460", "[::1]:7460", "127.8.8.8"])
def test_loopback_names_are_let_in(client: TestClient, host: str) -> None:
    assert client.get("/api/matches", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1.evil.example", "localhost.evil.example:7460", "", "[::1"]
)
def test_a_foreign_name_for_this_machine_is_not(client: TestClient, host: str) -> None:
    answer = client.get("/api/matches", headers={"Host": host})
    assert answer.status_code == 421
    assert answer.json()["error"]


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": "http://127.0.0.1:9999"},
        {"Origin": "null"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
def test_other_pages_cannot_change_anything(client: TestClient, headers: dict[str, str]) -> None:
    answer = client.post("/api/matches/1/undo", json={}, headers=headers)
    assert answer.status_code == 403
    assert answer.json()["error"]


def test_our_own_page_can(client: TestClient) -> None:
    headers = {"Origin": "http://127.0.0.1:7460", "Sec-Fetch-Site": "same-origin"}
    answer = client.post("/api/matches/1/undo", json={}, headers=headers)
    assert answer.status_code == 409  # let in; there is nothing to undo


def test_a_foreign_web_socket_is_closed(app: FastAPI) -> None:
    from starlette.websockets import WebSocketDisconnect

    client = TestClient(app, base_url="http://127.0.0.1:7460")
    with (
        pytest.raises(WebSocketDisconnect) as refused,
        client.websocket_connect("/socket", headers={"Origin": "http://evil.example"}),
    ):
        pass
    assert refused.value.code == 1008


def test_without_the_token_nothing_is_served(remote: TestClient) -> None:
    for path in ("/", "/api/matches", "/api/matches/1/footage", "/assets/room.css"):
        answer = remote.get(path)
        assert answer.status_code == 401
        assert "error" in answer.json()
    assert remote.get("/api/matches?token=wrong").status_code == 401
    wrong = {"Cookie": f"{COOKIE}=wrong"}
    assert remote.get("/api/matches", headers=wrong).status_code == 401
    assert remote.post(f"/api/matches/1/undo?token={TOKEN}", json={}).status_code == 401


def test_the_printed_link_sets_a_cookie_and_leaves_the_address(remote: TestClient) -> None:
    answer = remote.get(f"/api/matches?search=ines&token={TOKEN}")
    assert answer.status_code == 303
    assert answer.headers["location"] == "/api/matches?search=ines"
    cookie = answer.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite" in cookie
    assert remote.get("/api/matches").status_code == 200


def test_every_answer_carries_the_headers(client: TestClient) -> None:
    for answer in (client.get("/api/matches"), client.get("/api/matches/99")):
        policy = answer.headers["content-security-policy"]
        assert "default-src 'self'" in policy
        assert "http:" not in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "no-referrer"


@given(st.ip_addresses())
def test_loopback_addresses(address: object) -> None:
    assert is_loopback(str(address)) == address.is_loopback  # type: ignore[attr-defined]


@given(st.text())
def test_any_text_is_a_host_or_not(text: str) -> None:
    assert isinstance(is_loopback(text), bool)

"""The pages as they are sent: whole, harmless, and each with what its component is given."""

from __future__ import annotations

import hashlib
import html
import json
import re
from pathlib import Path

import html5lib
import pytest
from starlette.testclient import TestClient

from posescore.web.pages.pages import ASSETS

NOTICE = Path(__file__).parents[2] / "NOTICE"


@pytest.mark.parametrize(
    "path", ["/", "/match/1", "/match/1/opinions", "/match/1/lesson", "/athletes", "/api/docs"]
)
def test_a_page_is_valid_and_loads_only_what_is_here(client: TestClient, path: str) -> None:
    answer = client.get(path)
    assert answer.status_code == 200
    html5lib.HTMLParser(strict=True).parse(answer.text)
    assert "unsafe-inline" not in answer.headers["content-security-policy"].split("style-src")[0]
    assert not re.search(r"<script(?![^>]* src=)", answer.text)
    for address in re.findall(r'(?:src|href|data-component)="(/assets/[^"]+)"', answer.text):
        asset = client.get(address)
        assert asset.status_code == 200, address
        assert asset.headers["cache-control"] == "no-cache"


def test_what_an_address_says_reaches_the_component_and_stays_text(client: TestClient) -> None:
    wicked = """</script>"'<b>&"""
    page = client.get("/match/1/opinions", params={"one": wicked, "other": "Ben"}).text
    (given,) = re.findall(r'data-given="([^"]*)"', page)
    found = json.loads(html.unescape(given))
    assert (found["matchId"], found["first"], found["second"]) == (1, wicked, "Ben")
    assert "<b>" not in page


@pytest.mark.parametrize("path", ["/nowhere", "/match/one", "/match/1/nowhere"])
def test_an_unknown_address_is_a_page_and_below_the_api_a_sentence(
    client: TestClient, path: str
) -> None:
    answer = client.get(path)
    assert answer.status_code == 404
    assert "There is no such page" in answer.text
    assert set(client.get(f"/api{path}").json()) == {"error"}


def test_vue_is_the_published_file() -> None:
    content = (ASSETS / "vendor" / "vue.js").read_bytes()
    assert hashlib.sha256(content).hexdigest() in NOTICE.read_text("utf-8")

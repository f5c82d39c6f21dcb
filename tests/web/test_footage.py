"""Byte ranges of the footage, by RFC 9110 sections 13 and 14."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from posescore.library.library import Library

URL = "/api/matches/1/footage"


def test_the_whole_file_and_its_head(client: TestClient, footage: Path) -> None:
    whole = client.get(URL)
    assert whole.status_code == 200
    assert whole.content == footage.read_bytes()
    assert whole.headers["content-type"] == "video/mp4"
    assert whole.headers["accept-ranges"] == "bytes"
    head = client.head(URL)
    assert head.status_code == 200
    assert head.content == b""
    assert head.headers["content-length"] == str(footage.stat().st_size)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(data=st.data())
def test_any_part_is_that_part(client: TestClient, footage: Path, data: st.DataObject) -> None:
    content = footage.read_bytes()
    start = data.draw(st.integers(0, len(content) - 1))
    end = data.draw(st.integers(start, len(content) + 10))
    answer = client.get(URL, headers={"Range": f"bytes={start}-{end}"})
    assert answer.status_code == 206
    assert answer.content == content[start : end + 1]
    last = min(end, len(content) - 1)
    assert answer.headers["content-range"] == f"bytes {start}-{last}/{len(content)}"


def test_open_ended_and_suffix_ranges(client: TestClient, footage: Path) -> None:
    content = footage.read_bytes()
    assert client.get(URL, headers={"Range": "bytes=100-"}).content == content[100:]
    assert client.get(URL, headers={"Range": "bytes=-50"}).content == content[-50:]
    several = client.get(URL, headers={"Range": "bytes=0-9,20-29"})
    assert several.status_code == 206
    assert several.headers["content-type"].startswith("multipart/byteranges")
    assert content[20:30] in several.content


@pytest.mark.parametrize(
    "asked", ["bytes=999999999-", "bytes=9-5", "bytes=-0", "bytes=-", "bytes=a-b", "frames=0-1", ""]
)
def test_ranges_that_do_not_exist(client: TestClient, footage: Path, asked: str) -> None:
    answer = client.get(URL, headers={"Range": asked})
    assert answer.status_code == 416
    assert answer.headers["content-range"] == f"bytes */{footage.stat().st_size}"
    assert "error" in answer.json()


def test_if_range_gives_a_part_of_the_same_file_only(client: TestClient, footage: Path) -> None:
    etag = client.head(URL).headers["etag"]
    same = client.get(URL, headers={"Range": "bytes=0-9", "If-Range": etag})
    assert same.status_code == 206
    other = client.get(URL, headers={"Range": "bytes=0-9", "If-Range": '"another"'})
    assert other.status_code == 200
    assert len(other.content) == footage.stat().st_size


def test_the_copy_made_for_browsers_comes_first(client: TestClient, library: Library) -> None:
    proxy = library.match(1).proxy_path
    proxy.parent.mkdir(parents=True, exist_ok=True)
    proxy.write_bytes(b"a copy")
    assert client.get(URL).content == b"a copy"


def test_footage_that_is_gone_says_so(client: TestClient, footage: Path) -> None:
    aside = footage.with_suffix(".aside")
    footage.rename(aside)
    try:
        answer = client.get(URL)
    finally:
        aside.rename(footage)
    assert answer.status_code == 404
    assert footage.name in answer.json()["error"]

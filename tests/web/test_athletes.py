"""Athletes across matches: the page, the tables, the files."""

from __future__ import annotations

import io
from collections.abc import Iterator
from zipfile import ZipFile

import html5lib
import pytest
from starlette.testclient import TestClient

from posescore.export.across import COLUMNS
from posescore.library.library import Library
from posescore.library.review.edits import Confirm
from posescore.web.app import create_app


@pytest.fixture
def pages(library: Library) -> Iterator[TestClient]:
    """The API with the pages; every proposal of the match is confirmed."""
    for item in library.review(1).items:
        library.edit(1, Confirm(item.key), "Kim")
    with TestClient(create_app(library), base_url="http://127.0.0.1:7460") as client:
        yield client


def test_the_page_holds_plots_and_the_same_numbers_as_tables(pages: TestClient) -> None:
    answer = pages.get("/athletes", params={"name": "ines vaz"})
    assert answer.status_code == 200
    html = answer.text
    html5lib.HTMLParser(strict=True).parse(html)
    for text in (
        "Ines Vaz across matches", "1 match: 1 won. 9.0 points a match for, 4.0 against.",
        'role="img" aria-label="Points for and against: ', "Mount 4 to 0", "<td>Noa Berg</td>",
    ):  # fmt: skip
        assert text in html or text == "<td>Noa Berg</td>"
    assert 'href="/match/1">Noa Berg</a>' in html
    assert html.count("<svg viewBox") >= 5


def test_everybody_is_listed(pages: TestClient) -> None:
    listed = pages.get("/api/athletes").json()
    assert listed == [{"name": "Ines Vaz", "matches": 1}, {"name": "Noa Berg", "matches": 1}]
    html = pages.get("/athletes").text
    html5lib.HTMLParser(strict=True).parse(html)
    assert 'href="/athletes?name=Noa%20Berg"' in html


def test_files_to_keep(pages: TestClient) -> None:
    def file(format_name: str) -> bytes:
        asked = {"name": "Noa Berg", "format": format_name}
        answer = pages.get("/api/athletes/file", params=asked)
        assert answer.status_code == 200
        assert "attachment" in answer.headers["content-disposition"]
        return answer.content

    html = file("html").decode()
    html5lib.HTMLParser(strict=True).parse(html)
    assert "href" not in html  # it needs nothing else
    tables = ZipFile(io.BytesIO(file("csv")))
    assert set(tables.namelist()) == {f"{table}.csv" for table in COLUMNS}
    assert file("json").startswith(b"{")


def test_whoever_is_not_there_is_said_in_a_sentence(pages: TestClient) -> None:
    answer = pages.get("/athletes", params={"name": "<b>Nobody</b>"})
    assert answer.status_code == 404
    assert "<b>Nobody" not in answer.text
    assert "check the spelling" in answer.text
    assert pages.get("/api/athletes/file", params={"name": "Zoe"}).status_code == 404
    wrong = pages.get("/api/athletes/file", params={"name": "Ines Vaz", "format": "xls"})
    assert wrong.status_code == 422

"""Two reviews of one match over the API."""

from __future__ import annotations

from typing import Any

import pytest
from starlette.testclient import TestClient

URL = "/api/matches/1"


def edit(client: TestClient, name: str, **fields: object) -> dict[str, Any]:
    answer = client.post(f"{URL}/edits", json={"author": name, "opinion": name, "edit": fields})
    assert answer.status_code == 200, answer.text
    body: dict[str, Any] = answer.json()
    return body


@pytest.fixture
def differing(client: TestClient) -> TestClient:
    """Kim confirms all; Ana dismisses the pass, leaves the last line, names the guard otherwise."""
    body = client.get(URL).json()
    lines = [one["id"] for one in body["proposals"]]
    for line in lines:
        edit(client, "Kim", kind="confirm", proposal=line)
    edit(client, "Ana", kind="confirm", proposal=lines[0])
    edit(client, "Ana", kind="dismiss", proposal=lines[1], reason="not held")
    guard = next(hold for hold in body["holds"] if hold["position"] == "open_guard")
    edit(client, "Ana", kind="relabel", hold=guard["id"], position="half_guard", upper="A")
    return client


def compare(client: TestClient, one: str = "Kim", other: str = "Ana") -> dict[str, Any]:
    answer = client.get(f"{URL}/comparison", params={"one": one, "other": other})
    assert answer.status_code == 200, answer.text
    body: dict[str, Any] = answer.json()
    return body


def settle(client: TestClient, taken: str, **what: object) -> dict[str, Any]:
    asked = {"one": "Kim", "other": "Ana", "taken": taken, "author": "Crew", **what}
    answer = client.post(f"{URL}/settle", json=asked)
    assert answer.status_code == 200, answer.text
    body: dict[str, Any] = answer.json()
    return body


def test_an_opinion_is_independent(differing: TestClient) -> None:
    client = differing
    shared = client.get(URL).json()
    assert all(one["decision"] is None for one in shared["proposals"])
    kims = client.get(URL, params={"opinion": "Kim"}).json()
    assert kims["opinion"] == "Kim"
    assert all(one["decision"]["by"] == "Kim" for one in kims["proposals"])
    names = [(each["name"], each["undecided"]) for each in client.get(f"{URL}/opinions").json()]
    assert names == [("", 5), ("Ana", 3), ("Kim", 0)]
    csv = client.get(f"{URL}/export", params={"format": "csv", "opinion": "Kim"}).text
    assert "Kim" in csv


def test_what_differs_is_listed_with_how_far_they_agree(differing: TestClient) -> None:
    found = compare(differing)
    assert [line["differs"] for line in found["lines"]].count(True) == 1
    assert [line["other"] for line in found["lines"]].count(None) == 3
    (stretch,) = found["stretches"]
    assert (stretch["start_s"], stretch["end_s"]) == (12.5, 16.5)
    assert stretch["other"] == {"position": "half_guard", "upper": "A"}
    assert 0 < found["position_kappa"] < 1
    assert found["same_position"] == pytest.approx(0.9)


def test_each_is_settled_into_the_shared_log(differing: TestClient) -> None:
    client = differing
    line = next(each for each in compare(client)["lines"] if each["differs"])["line"]
    found = settle(client, "one", line=line)
    settled = next(each for each in found["lines"] if each["line"] == line)["settled"]
    assert (settled["by"], settled["taken_from"]) == ("Crew", "Kim")
    found = settle(client, "other", start_s=12.5, end_s=16.5)
    assert found["stretches"][0]["settled"]["taken_from"] == "Ana"
    shared = client.get(URL).json()
    assert shared["score"]["confirmed"]["A"]["points"] == 3
    assert "half_guard" in [hold["position"] for hold in shared["holds"]]
    assert shared["undo"] == "settle a difference"
    client.post(f"{URL}/undo", json={"author": "Crew"})
    assert compare(client)["stretches"][0]["settled"] is None


def test_what_cannot_be_compared_or_settled_is_one_sentence(differing: TestClient) -> None:
    client = differing
    for one, other, status in (("Kim", "Kim", 422), ("Kim", "Zoe", 404)):
        answer = client.get(f"{URL}/comparison", params={"one": one, "other": other})
        assert answer.status_code == status
        assert answer.json()["error"].endswith(".")
    for wrong, status in (
        ({"taken": "one"}, 422),
        ({"taken": "both", "line": "x"}, 422),
        ({"taken": "one", "line": "x"}, 404),
        ({"taken": "one", "start_s": 5, "end_s": 1}, 422),
        ({"taken": "one", "start_s": 1, "end_s": 5}, 404),
    ):
        answer = client.post(f"{URL}/settle", json={"one": "Kim", "other": "Ana", **wrong})
        assert answer.status_code == status, wrong

"""The library over the API: the list, footage in, details, analyses, matches out."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from hypothesis import given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from posescore.footage.clock import FrameClock
from posescore.holds.event import EventName
from posescore.library.jobs import JobState
from posescore.library.library import Library
from posescore.library.match import AthleteInfo, MatchInfo
from posescore.library.review.edits import AddEvent, Confirm
from posescore.web.api.footage import PIECE_BYTES
from posescore.web.app import create_app
from posescore.web.guard import COOKIE, Access
from tests.library.samples import analysis
from tests.web.small_match import write_clip

BASE = "http://127.0.0.1:7460"
DETAILS: dict[str, Any] = {
    "title": "Semi final",
    "athlete_a": {"name": "Ines Vaz", "gi_colour": "white", "belt": "blue"},
    "athlete_b": {"name": "Noa Berg", "gi_colour": "blue", "belt": "blue"},
    "event": "Lakeside Cup",
    "mat": "3",
    "held_on": "2026-05-09",
    "division": {"age": "adult", "belt": "blue"},
    "rules": "sport-jiu-jitsu",
    "note": "filmed from the stand",
}


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[Library]:
    with Library(tmp_path / "empty") as library:
        yield library


@pytest.fixture
def here(empty: Library) -> Iterator[TestClient]:
    """A browser on this computer."""
    yield from browser(create_app(empty), "127.0.0.1")


@pytest.fixture
def away(empty: Library) -> Iterator[TestClient]:
    """A browser on another computer, with the token."""
    yield from browser(create_app(empty, Access("a-token-nobody-guesses")), "192.0.2.7")


def browser(app: FastAPI, address: str) -> Iterator[TestClient]:
    with TestClient(app, base_url=BASE, client=(address, 50_000)) as client:
        client.cookies.set(COOKIE, "a-token-nobody-guesses")
        yield client


@pytest.fixture(scope="session")
def clip(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("clip") / "first_round.mp4"
    write_clip(path, FrameClock.steady(6, 10.0))
    return path


def good(answer: Any) -> Any:
    assert answer.status_code == 200, answer.text
    return answer.json()


def refused(answer: Any, status: int) -> str:
    assert answer.status_code == status, answer.text
    (key, sentence), *more = answer.json().items()
    assert key == "error"
    assert not more
    assert "\n" not in sentence
    return str(sentence)


def send(client: TestClient, name: str, content: bytes) -> str:
    key = good(client.post("/api/footage", json={"name": name, "size_bytes": len(content)}))["key"]
    assert good(client.put(f"/api/footage/{key}", content=content))["size_bytes"] == len(content)
    return str(key)


def listed(client: TestClient, **wanted: Any) -> dict[str, Any]:
    body: dict[str, Any] = good(client.get("/api/library", params=wanted))
    return body


def test_an_empty_library_is_listed(here: TestClient) -> None:
    body = listed(here)
    assert (body["total"], body["in_library"], body["matches"]) == (0, 0, [])


def test_choices_give_the_published_match_times(here: TestClient) -> None:
    body = good(here.get("/api/library/choices"))
    rules = {one["name"]: one for one in body["rules"]}
    ages = {one["age"]: one for one in rules["sport-jiu-jitsu"]["ages"]}
    # Match times: general competition guidelines, 1.3.
    assert ages["adult"]["minutes_by_belt"]["brown"] == 8
    assert ages["juvenile"]["minutes"] == 5
    assert ages["4-6"]["minutes"] == 2
    assert ages["master 1"]["minutes_by_belt"]["purple"] == 6
    assert body["names_paths"]


def test_a_file_is_added_by_its_path_with_all_that_is_said_of_it(
    here: TestClient, empty: Library, clip: Path
) -> None:
    added = good(here.post("/api/matches", json={**DETAILS, "path": str(clip)}))
    assert added == {"match_id": 1, "title": "Semi final", "known": False}
    (row,) = listed(here)["matches"]
    assert row["stage"] == "waiting"
    assert row["run"]["ahead"] == 0
    assert row["source"] == {
        "path": str(clip),
        "copied": False,
        "there": True,
        "made_on": day_of(clip),
    }
    assert row["athletes"]["B"]["name"] == "Noa Berg"
    assert row["match_time_s"] == 360.0
    assert (row["mat"], row["held_on"], row["note"]) == ("3", "2026-05-09", DETAILS["note"])
    again = good(here.post("/api/matches", json={"path": str(clip), "title": "again"}))
    assert again == {"match_id": 1, "title": "Semi final", "known": True}
    assert len(empty.jobs()) == 1


def test_a_file_is_sent_and_added_in_pieces(here: TestClient, empty: Library, clip: Path) -> None:
    key = send(here, "second_round.mp4", clip.read_bytes())
    added = good(here.post("/api/matches", json={"key": key, "analyse": False}))
    assert added["title"] == "second round"
    (row,) = listed(here)["matches"]
    assert row["stage"] == "not_analysed"
    assert row["source"]["copied"]
    assert Path(row["source"]["path"]).read_bytes() == clip.read_bytes()
    assert refused(here.post("/api/matches", json={"key": key}), 404)
    assert empty.jobs() == []


def test_a_library_that_is_only_looked_at_stays_as_it_is(library: Library, clip: Path) -> None:
    (library.folder / "incoming" / "0123456789abcdef").mkdir(parents=True)
    os.utime(library.folder / "incoming" / "0123456789abcdef", (0, 0))
    before = everything_in(library.folder)
    with Library(library.folder, read_only=True) as looked_at:
        for client in browser(create_app(looked_at), "127.0.0.1"):
            body = listed(client)
            assert body["read_only"]
            assert body["matches"][0]["stage"] == "undecided"
            for answer in (
                client.post("/api/footage", json={"name": "a.mp4", "size_bytes": 5}),
                client.post("/api/matches", json={"path": str(clip)}),
                client.patch("/api/matches/1", json=DETAILS),
                client.delete("/api/matches/1"),
                client.post("/api/matches/1/analysis", json={}),
            ):
                assert refused(answer, 507) == body["read_only"]
    assert everything_in(library.folder) == before


def everything_in(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes() if path.is_file() else b""
        for path in folder.rglob("*")
        if not path.name.endswith(("-shm", "-wal"))
    }


def test_a_large_file_goes_to_the_disk_whole(here: TestClient, empty: Library) -> None:
    content = bytes(range(256)) * (3 * PIECE_BYTES // 256) + b"end"
    key = send(here, "large.mp4", content)
    (kept,) = (empty.folder / "incoming" / key).iterdir()
    assert kept.read_bytes() == content
    assert here.delete(f"/api/footage/{key}").status_code == 204
    assert not kept.exists()


def test_bad_files_are_one_sentence_each_and_add_nothing(here: TestClient, empty: Library) -> None:
    ask = {"name": "notes.txt", "size_bytes": 3}
    assert "notes.txt" in refused(here.post("/api/footage", json=ask), 422)
    key = send(here, "holiday.mp4", b"nonsense" * 50)
    sentence = refused(here.post("/api/matches", json={"key": key}), 422)
    assert sentence.startswith("holiday.mp4 is not a video")
    for body in ({}, {"path": "/x.mp4", "key": "0" * 16}):
        assert "path" in refused(here.post("/api/matches", json=body), 422)
    missing = refused(here.post("/api/matches", json={"path": "/no/such.mp4"}), 422)
    assert "does not exist" in missing
    assert refused(here.put("/api/footage/0123456789abcdef", content=b"x"), 404)
    assert empty.matches() == []


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"division": {"age": "ancient"}}, "ancient"),
        ({"rules": "house-rules"}, "house-rules"),
        ({"held_on": "yesterday"}, "held_on"),
        ({"title": "x" * 201}, "title"),
        ({"athlete_a": {"name": "x" * 121}}, "athlete_a"),
    ],
)
def test_details_that_cannot_be_are_refused_and_the_file_stays(
    here: TestClient, empty: Library, clip: Path, wrong: dict[str, Any], says: str
) -> None:
    key = send(here, "a.mp4", clip.read_bytes())
    assert says in refused(here.post("/api/matches", json={**DETAILS, **wrong, "key": key}), 422)
    assert empty.matches() == []
    assert good(here.post("/api/matches", json={**DETAILS, "key": key}))["match_id"] == 1
    answer = here.patch("/api/matches/1", json={**DETAILS, **wrong})
    assert says in refused(answer, 422)
    assert empty.match(1).info.title == "Semi final"


def test_a_change_touches_only_what_it_names(here: TestClient, empty: Library, clip: Path) -> None:
    good(here.post("/api/matches", json={**DETAILS, "path": str(clip), "analyse": False}))
    good(here.patch("/api/matches/1", json={"athlete_b": {"belt": "purple"}, "note": " seen "}))
    before = empty.match(1).info
    assert (before.athlete_b.name, before.athlete_b.belt) == ("Noa Berg", "purple")
    assert (before.title, before.event, before.note) == ("Semi final", "Lakeside Cup", "seen")
    assert before.division == DETAILS["division"]
    good(here.patch("/api/matches/1", json={"held_on": None, "division": None, "title": " "}))
    info = empty.match(1).info
    assert (info.held_on, info.division, info.title) == (None, None, "Semi final")
    assert (info.mat, info.footage) == ("3", before.footage)
    good(here.patch("/api/matches/1", json={}))
    assert empty.match(1).info == info


def test_a_change_of_an_analysed_match_leaves_its_scoring_alone(
    client: TestClient, library: Library
) -> None:
    before = library.log(1)
    row = good(client.patch("/api/matches/1", json={"title": "The final"}))
    assert row["title"] == "The final"
    assert library.log(1) == before


def day_of(path: Path) -> str:
    return date.fromtimestamp(path.stat().st_mtime).isoformat()


def test_a_folder_is_looked_through(here: TestClient, clip: Path) -> None:
    body = good(here.post("/api/footage/scan", json={"path": str(clip.parent)}))
    assert body == {
        "videos": [
            {
                "path": str(clip),
                "name": clip.name,
                "size_bytes": clip.stat().st_size,
                "made_on": day_of(clip),
                "match_id": None,
            }
        ],
        "more": False,
    }
    assert "whole path" in refused(here.post("/api/footage/scan", json={"path": "films"}), 422)


def test_only_this_computer_names_paths(away: TestClient, empty: Library, clip: Path) -> None:
    assert not good(away.get("/api/library/choices"))["names_paths"]
    asked = [
        away.post("/api/footage/scan", json={"path": str(clip.parent)}),
        away.post("/api/matches", json={"path": str(clip)}),
    ]
    for answer in asked:
        assert "only on the computer" in refused(answer, 422)
    assert empty.matches() == []
    key = send(away, "sent.mp4", clip.read_bytes())
    assert good(away.post("/api/matches", json={"key": key}))["match_id"] == 1


@pytest.mark.parametrize(
    ("method", "path"),
    [
        ("POST", "/api/footage"),
        ("PUT", "/api/footage/0123456789abcdef"),
        ("POST", "/api/footage/scan"),
        ("POST", "/api/matches"),
        ("PATCH", "/api/matches/1"),
        ("DELETE", "/api/matches/1"),
        ("POST", "/api/matches/1/analysis"),
        ("POST", "/api/jobs/1/stop"),
        ("DELETE", "/api/footage/0123456789abcdef"),
    ],
)
def test_other_pages_and_strangers_change_nothing(
    client: TestClient, app: FastAPI, library: Library, method: str, path: str
) -> None:
    foreign = {"Origin": "http://evil.example", "Content-Type": "application/json"}
    assert refused(client.request(method, path, content=b"{}", headers=foreign), 403)
    assert refused(client.request(method, path, headers={"Host": "evil.example"}), 421)
    guarded = create_app(library, Access("a-token-nobody-guesses"))
    with TestClient(guarded, base_url="http://hall.example:7460") as stranger:
        assert refused(stranger.request(method, path), 401)
    assert library.match(1).info.title == "Ines Vaz v Noa Berg"
    assert not (library.folder / "incoming").exists()


def test_details_change_and_come_back(client: TestClient, library: Library) -> None:
    before = library.review(1)
    row = good(client.patch("/api/matches/1", json={**DETAILS, "author": "Kim"}))
    assert (row["title"], row["event"], row["note"]) == (
        DETAILS["title"], DETAILS["event"], DETAILS["note"],
    )  # fmt: skip
    assert row["division"] == DETAILS["division"]
    info = library.match(1).info
    assert info.footage is not None, "the footage stays"
    assert info.athlete_b == AthleteInfo("Noa Berg", "blue", "blue")
    (entry,) = library.log(1)
    assert (entry.kind, entry.author) == ("set_division", "Kim")
    assert library.review(1).division == DETAILS["division"]
    library.undo(1, "Kim")
    assert library.review(1).division == before.division
    good(client.patch("/api/matches/1", json=DETAILS))
    good(client.post("/api/matches/1/undo", json={}))
    assert library.review(1).division == before.division, "nameless here and there: one person"
    good(client.patch("/api/matches/1", json={**DETAILS, "title": " "}))
    assert library.match(1).info.title == DETAILS["title"], "a blank title keeps the old one"


words = st.text(st.characters(exclude_categories=["Cs"]), max_size=40)
athletes = st.fixed_dictionaries({"name": words, "gi_colour": words, "belt": words})


@settings(max_examples=5, deadline=None)
@given(
    changes=st.lists(
        st.fixed_dictionaries(
            {
                "title": words,
                "event": words,
                "mat": words,
                "note": words,
                "athlete_a": athletes,
                "athlete_b": athletes,
                "held_on": st.none() | st.dates().map(str),
            }
        ),
        max_size=6,
    )
)
def test_whatever_is_written_comes_back(
    tmp_path_factory: pytest.TempPathFactory, changes: list[dict[str, Any]]
) -> None:
    with Library(tmp_path_factory.mktemp("words")) as library:
        library.add_match(MatchInfo("as it was"))
        title = "as it was"
        with TestClient(create_app(library), base_url=BASE) as client:
            for change in changes:
                title = change["title"].strip() or title
                row = good(client.patch("/api/matches/1", json=change))
                assert row["title"] == title
                for field in ("event", "mat", "note"):
                    assert row[field] == change[field].strip()
                assert row["held_on"] == change["held_on"]
                for slot, given_to in (("A", "athlete_a"), ("B", "athlete_b")):
                    for field, text in change[given_to].items():
                        assert row["athletes"][slot][field] == text.strip()
                assert row == good(client.get("/api/library/1"))
                found = listed(client, search=title)["matches"]
                assert [one["id"] for one in found] == [1]


def test_the_rule_set_changes_through_the_log(client: TestClient, library: Library) -> None:
    change = {**DETAILS, "rules": "sport-jiu-jitsu-strict-mount", "division": None}
    assert good(client.patch("/api/matches/1", json=change))["rules"] == change["rules"]
    assert [entry.kind for entry in library.log(1)] == ["set_rules"]
    assert good(client.patch("/api/matches/1", json=change))["rules"] == change["rules"]
    assert len(library.log(1)) == 1, "the same again is no edit"
    assert listed(client)["matches"][0]["rules"] == change["rules"]


def test_before_the_analysis_the_rule_set_is_simply_another(
    here: TestClient, empty: Library
) -> None:
    empty.add_match(MatchInfo("x"))
    change = {**DETAILS, "rules": "sport-jiu-jitsu-strict-mount"}
    assert good(here.patch("/api/matches/1", json=change))["match_time_s"] == 360.0
    assert empty.match(1).info.rules == change["rules"]


def test_deleting_says_what_goes_and_keeps_a_persons_own_footage(
    client: TestClient, library: Library, footage: Path
) -> None:
    first = library.review(1).undecided[0]
    library.edit(1, Confirm(first.key), "Kim")
    job = library.queue_job(1)
    goes = good(client.get("/api/matches/1/deletion-preview"))
    assert goes.pop("made_bytes") > 1000
    assert goes == {
        "analyses": 1, "edits": 1, "copied": "", "stays": str(footage), "running": True,
    }  # fmt: skip
    assert client.delete("/api/matches/1").status_code == 204
    assert footage.exists()
    assert listed(client)["in_library"] == 0
    assert refused(client.delete("/api/matches/1"), 404)
    assert refused(client.post(f"/api/jobs/{job.id}/stop", json={}), 404)
    assert not list((library.folder / "matches").iterdir())


def test_deleting_takes_the_copy_that_was_sent(
    here: TestClient, empty: Library, clip: Path
) -> None:
    good(here.post("/api/matches", json={"key": send(here, "mine.mp4", clip.read_bytes())}))
    goes = good(here.get("/api/matches/1/deletion-preview"))
    assert goes["copied"].endswith("mine.mp4")
    assert goes["stays"] == ""
    assert here.delete("/api/matches/1").status_code == 204
    assert not [path for path in empty.folder.rglob("*") if path.suffix == ".mp4"]


def test_an_analysis_is_lined_up_and_stopped(client: TestClient, library: Library) -> None:
    job = good(client.post("/api/matches/1/analysis", json={"every_frame": True}))
    assert library.job(job["id"]).settings == {"every_frame": True, "afresh": True}
    assert "being analysed" in refused(client.post("/api/matches/1/analysis", json={}), 409)
    (row,) = listed(client)["matches"]
    assert row["stage"] == "waiting"
    assert row["standing"]["waiting"] > 0, "what was there before is still told"
    assert good(client.post(f"/api/jobs/{job['id']}/stop", json={}))["state"] == "cancelled"
    assert listed(client)["matches"][0]["stage"] == "undecided"


def test_a_running_analysis_tells_rate_and_time_left(client: TestClient, library: Library) -> None:
    job = library.queue_job(1)
    library.start_job(job.id)
    library.update_job(job.id, 0.25, "finding both athletes")
    run = good(client.get("/api/library/1"))["run"]
    assert (run["state"], run["progress"], run["stage"]) == (
        "running", 0.25, "finding both athletes",
    )  # fmt: skip
    duration_s = library.match(1).info.footage.duration_s  # type: ignore[union-attr]
    assert duration_s is not None
    # Three quarters of the footage are left, at that rate.
    assert run["remaining_s"] == pytest.approx(0.75 * duration_s / run["rate"], rel=0.05)
    library.end_job(job.id, JobState.FAILED, "The disk is full.")
    row = good(client.get("/api/library/1"))
    assert row["stage"] == "undecided"
    assert row["run"]["message"] == "The disk is full."


NAMES = ("Ana Lund", "Bo Reis", "Cy Ødegard", "")
EVENTS = ("Lakeside Cup", "harbour open", "")
STATES = ("none", "waiting", "running", "failed", "ready", "settled")


def fill(library: Library, matches: list[tuple[str, str, str, str]]) -> None:
    for number, (a, b, event, state) in enumerate(matches):
        info = MatchInfo(f"Match {number}", AthleteInfo(a), AthleteInfo(b), event=event)
        match = library.add_match(info)
        if state in ("waiting", "running", "failed"):
            job = library.queue_job(match.id)
            if state != "waiting":
                library.start_job(job.id)
            if state == "failed":
                library.end_job(job.id, JobState.FAILED, "No.")
        if state in ("ready", "settled"):
            made = replace(analysis(), clock=FrameClock.steady(61, 1.0))
            if state == "settled":
                made = replace(made, holds=(), events=())
            library.save_analysis(match.id, made)
            if state == "settled":  # somebody looked
                library.edit(match.id, AddEvent(EventName.STOP, 1.0), "Ann")


STAGE_OF = {
    "none": "not_analysed", "waiting": "waiting", "running": "analysing", "failed": "failed",
    "ready": "undecided", "settled": "decided",
}  # fmt: skip
some_match = st.tuples(
    st.sampled_from(NAMES), st.sampled_from(NAMES), st.sampled_from(EVENTS), st.sampled_from(STATES)
)


@settings(max_examples=20, deadline=None)
@given(
    matches=st.lists(some_match, max_size=7),
    athlete=st.sampled_from(NAMES),
    event=st.sampled_from(EVENTS),
    stages=st.sets(st.sampled_from(sorted(STAGE_OF.values())), max_size=3),
    limit=st.integers(1, 3),
)
def test_filters_and_pages_give_what_a_plain_search_gives(
    tmp_path_factory: pytest.TempPathFactory,
    matches: list[tuple[str, str, str, str]],
    athlete: str,
    event: str,
    stages: set[str],
    limit: int,
) -> None:
    with Library(tmp_path_factory.mktemp("many")) as library:
        fill(library, matches)
        named = [
            (number, match)
            for number, match in enumerate(matches, 1)
            if (not athlete or athlete in match[:2]) and (not event or match[2] == event)
        ]
        wanted = [n for n, match in named if not stages or STAGE_OF[match[3]] in stages]
        asked: dict[str, Any] = {
            "athlete": athlete, "event": event, "stage": sorted(stages), "limit": limit,
            "descending": False,
        }  # fmt: skip
        found: list[int] = []
        with TestClient(create_app(library), base_url=BASE) as client:
            for offset in range(0, len(wanted) + limit, limit):
                body = listed(client, offset=offset, **asked)
                assert body["total"] == len(wanted)
                assert sum(body["counts"].values()) == len(named)
                found += [row["id"] for row in body["matches"]]
        assert found == wanted
        assert body["in_library"] == len(matches)
        assert body["athletes"] == sorted(
            {name for match in matches for name in match[:2] if name}, key=str.casefold
        )


def test_most_undecided_first(here: TestClient, empty: Library) -> None:
    fill(empty, [("", "", "", state) for state in ("settled", "none", "ready")])
    ids = [row["id"] for row in listed(here, sort="undecided")["matches"]]
    assert ids[0] == 3


@pytest.mark.parametrize(
    "wanted", [{"limit": 0}, {"limit": 101}, {"offset": -1}, {"stage": "lost"}, {"sort": "size"}]
)
def test_what_cannot_be_listed_is_one_sentence(here: TestClient, wanted: dict[str, Any]) -> None:
    assert refused(here.get("/api/library", params=wanted), 422)

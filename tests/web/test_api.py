from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from starlette.testclient import TestClient

from posescore.footage.clock import FrameClock
from posescore.holds.event import EventName
from posescore.library.library import Library
from posescore.library.review.edits import EDITS, SetRules
from posescore.pose.track import FindingKind
from posescore.scoring.proposal import ProposalKind
from posescore.terms import Position
from posescore.web.api.track import MISSING
from posescore.web.api.views import clock_note
from posescore.web.app import create_app
from tests.web.small_match import BITS, HOLDS, make_track

URL = "/api/matches/1"


def review(client: TestClient) -> dict[str, Any]:
    answer = client.get(URL)
    assert answer.status_code == 200, answer.text
    body: dict[str, Any] = answer.json()
    return body


def edit(client: TestClient, author: str = "Kim", **fields: object) -> dict[str, Any]:
    answer = client.post(f"{URL}/edits", json={"author": author, "edit": fields})
    assert answer.status_code == 200, answer.text
    body: dict[str, Any] = answer.json()
    return body


def undo(client: TestClient) -> dict[str, Any]:
    body: dict[str, Any] = client.post(f"{URL}/undo", json={"author": "Kim"}).json()
    return body


def paying(body: dict[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = next(one for one in body["proposals"] if one["points"])
    return found


def test_matches_are_listed_and_searched(client: TestClient) -> None:
    (match,) = client.get("/api/matches").json()
    assert match["title"] == "Ines Vaz v Noa Berg"
    assert match["athletes"]["A"]["gi_colour"] == "white"
    assert client.get("/api/matches", params={"search": "nobody"}).json() == []


def test_a_review_tells_everything(client: TestClient) -> None:
    body = review(client)
    assert [hold["position"] for hold in body["holds"]] == [h.position.value for h in HOLDS]
    assert [finding["kind"] for finding in body["findings"]] == ["possible_swap"]
    assert body["match_clock"]["running"] == [[0.5, 39.0]]
    assert body["values"]["guard_pass"] == 3
    takedown = paying(body)
    assert takedown["decision"] is None
    assert takedown["why"]
    assert takedown["clause"]
    assert 0 < takedown["confidence"] <= 1
    assert body["score"]["confirmed"]["A"]["points"] == 0
    assert body["score"]["proposed"]["A"]["points"] > 0


def test_the_match_clock_follows_start_and_stop(client: TestClient) -> None:
    for event, time_s in (("stop", 10.0), ("start", 12.5)):
        edit(client, kind="add_event", event=event, time_s=time_s)
    division = {"age": "adult", "belt": "blue"}
    body = edit(client, kind="set_division", division=division)
    # Match time of an adult blue belt: 6 minutes (competition guidelines, 1.3).
    clock = {"running": [[0.5, 10.0], [12.5, 39.0]], "duration_s": 360.0, "note": ""}
    assert body["match_clock"] == clock


def test_a_clock_that_runs_longer_than_the_match_is_told() -> None:
    # Adult white belts: 5 minutes (competition guidelines, 1.3).
    assert clock_note([(0.0, 301.0)], 300.0) == ""
    assert clock_note([(0.0, 301.0)], None) == ""
    assert "1:05 longer" in clock_note([(10.0, 200.0), (210.0, 385.2)], 300.0)


def test_the_clock_is_every_frame_and_the_end(client: TestClient, clock: FrameClock) -> None:
    times = np.frombuffer(client.get(f"{URL}/clock").content, "<f8")
    np.testing.assert_array_equal(times[:-1], clock.pts_s)
    assert times[-1] == clock.end_s


def test_keypoints_come_back_to_a_tenth_of_a_pixel(client: TestClient, clock: FrameClock) -> None:
    about = review(client)["track"]
    assert about["first_frames"] == [0]
    content = client.get(f"{about['url']}/0").content
    n = int(np.frombuffer(content, "<u4", 1)[0])
    frames = np.frombuffer(content, "<i4", n, 4)
    places = np.frombuffer(content, "<i2", n * 84, 4 + 4 * n).reshape(n, 2, 21, 2)
    sure = np.frombuffer(content, np.uint8, n * 42, 4 + 4 * n + 168 * n).reshape(n, 2, 21)
    track = make_track(clock)
    np.testing.assert_array_equal(frames, track.frame_index)
    gone = np.isnan(track.keypoint_confidence)
    np.testing.assert_array_equal((places == MISSING).all(axis=-1), gone)
    back_px = (places / 32767 + 0.5) * track.picture_size_px
    assert np.abs(back_px - track.keypoints_px)[~gone].max() < 0.1
    assert np.abs(sure / 255 - track.keypoint_confidence)[~gone].max() < 0.003
    assert client.get(f"{about['url']}/1").status_code == 404


def test_confirm_undo_redo_go_round(client: TestClient) -> None:
    before = review(client)
    takedown = paying(before)
    after = edit(client, kind="confirm", proposal=takedown["id"])
    decided = next(one for one in after["proposals"] if one["id"] == takedown["id"])
    assert decided["decision"]["verdict"] == "confirmed"
    assert decided["decision"]["by"] == "Kim"
    athlete = takedown["athlete"]
    assert after["score"]["confirmed"][athlete]["points"] == takedown["points"]
    assert after["undo"] == "confirm a proposal"
    undone = undo(client)
    assert undone["proposals"] == before["proposals"]
    assert undone["redo"] == "confirm a proposal"
    redone = client.post(f"{URL}/redo", json={"author": "Kim"}).json()
    assert redone["proposals"] == after["proposals"]
    assert review(client)["proposals"] == after["proposals"]


def test_change_dismiss_reopen_and_add(client: TestClient) -> None:
    first = paying(review(client))
    changed = edit(client, kind="change", proposal=first["id"], athlete="B", reason="wrong one")
    stands = next(one for one in changed["proposals"] if one["id"] == first["id"])
    assert stands["athlete"] == "A"
    assert stands["decided_award"]["athlete"] == "B"
    assert changed["score"]["confirmed"]["B"]["points"] == first["points"]
    dismissed = edit(client, kind="dismiss", proposal=first["id"], reason="not held")
    assert dismissed["score"]["confirmed"]["B"]["points"] == 0
    edit(client, kind="reopen", proposal=first["id"])
    added = edit(client, kind="add_award", athlete="B", award="sweep", points=2, time_s=20.0)
    assert added["score"]["confirmed"]["B"]["points"] == 2
    assert [one["decision"]["verdict"] for one in added["proposals"] if one["added"]] == ["added"]
    for _ in range(4):
        undo(client)
    assert review(client)["undo"] is None


def test_undo_and_redo_leave_what_somebody_else_did(client: TestClient) -> None:
    first = paying(review(client))
    edit(client, author="Ben", kind="confirm", proposal=first["id"])
    for step, ready in (("undo", "confirm a proposal"), ("redo", "confirm a proposal")):
        before = review(client)
        assert before[step] == ready
        for body in ({"author": "Kim"}, {}):
            refused = client.post(f"{URL}/{step}", json=body)
            assert refused.status_code == 409
            assert "Ben" in refused.json()["error"]
            assert "confirm" in refused.json()["error"]
        assert review(client) == before
        assert client.post(f"{URL}/{step}", json={"author": "Ben"}).status_code == 200


def test_swaps_and_holds_can_be_edited(client: TestClient) -> None:
    swapped = edit(client, kind="swap_athletes", start_s=31.0)
    assert swapped["swaps"] == [{"start_s": 31.0, "end_s": 40.0}]
    hold = swapped["holds"][3]
    named = edit(client, kind="relabel", hold=hold["id"], position="north_south", upper="A")
    assert named["holds"][3]["position"] == "north_south"
    assert named["holds"][3]["edited"]


@pytest.mark.parametrize(
    ("path", "body", "status", "word"),
    [
        ("edits", {"edit": {"kind": "fly"}}, 422, "fly"),
        ("edits", {"edit": {"kind": "confirm"}}, 422, "proposal"),
        ("edits", {"edit": {"kind": "confirm", "proposal": "gone"}}, 409, "gone"),
        ("edits", {"edit": {"kind": "dismiss", "proposal": "gone", "reason": "x"}}, 409, "gone"),
        ("edits", {}, 422, "edit"),
        ("edits", {"author": "x" * 61, "edit": {"kind": "confirm"}}, 422, "author"),
        ("undo", {}, 409, "undo"),
        ("redo", {}, 409, "redo"),
    ],
)
def test_refusals_are_one_sentence(
    client: TestClient, path: str, body: dict[str, Any], status: int, word: str
) -> None:
    answer = client.post(f"{URL}/{path}", json=body)
    assert answer.status_code == status
    assert set(answer.json()) == {"error"}
    assert word in answer.json()["error"]
    assert "\n" not in answer.json()["error"]


@pytest.mark.parametrize(
    "path", ["/api/matches/99", "/api/matches/99/clock", "/api/matches/99/footage", "/api/nothing"]
)
def test_what_is_not_there(client: TestClient, path: str) -> None:
    answer = client.get(path)
    assert answer.status_code == 404
    assert answer.json()["error"]


def test_broken_json_is_refused(client: TestClient) -> None:
    answer = client.post(f"{URL}/edits", content=b"{", headers={"Content-Type": "application/json"})
    assert answer.status_code == 422
    assert answer.json()["error"]


def test_the_api_describes_every_edit(client: TestClient) -> None:
    schema = client.get("/api/openapi.json").json()
    kinds = schema["components"]["schemas"]["EditIn"]["properties"]["edit"]["oneOf"]
    assert {kind["properties"]["kind"]["const"] for kind in kinds} == set(EDITS)
    page = client.get("/api/docs")
    assert page.status_code == 200
    for path in schema["paths"]:
        assert path in page.text
    assert "http://" not in page.text
    assert "https://" not in page.text


@pytest.mark.parametrize(
    ("name", "kind", "start"),
    [("csv", "text/csv", ""), ("json", "application/json", "{"), ("webvtt", "text/vtt", "WEBVTT")],
)
def test_logs_are_saved_as_files(client: TestClient, name: str, kind: str, start: str) -> None:
    edit(client, kind="confirm", proposal=paying(review(client))["id"])
    answer = client.get(f"{URL}/export", params={"format": name})
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith(kind)
    assert 'filename="ines-vaz-v-noa-berg.' in answer.headers["content-disposition"]
    assert answer.text.startswith(start)
    assert "takedown" in answer.text
    assert name in {offered["name"] for offered in review(client)["exports"]}
    refused = client.get(f"{URL}/export", params={"format": "docx"})
    assert refused.status_code == 422
    assert "docx" in refused.json()["error"]


def test_frame_numbers_fit_the_squares(clock: FrameClock) -> None:
    assert len(clock) < 2**BITS


def test_a_proposal_brings_its_evidence(client: TestClient) -> None:
    body = review(client)
    takedown = paying(body)
    assert [still["label"] for still in takedown["stills"]] == [
        "It begins", "3 seconds held", "It ends",
    ]  # fmt: skip
    assert takedown["path"][0]["words"] == "standing"
    assert takedown["path"][0]["start_s"] == HOLDS[0].start_s
    assert takedown["summary"][0].startswith("Ines Vaz brought the opponent")
    assert " A " not in takedown["why"]
    assert takedown["rule_text"]
    near = next(one for one in body["proposals"] if one["kind"] == "near")
    assert [criterion["decides"] for criterion in near["criteria"]].count(True) == 1


def test_a_person_overrules_what_was_seen(client: TestClient) -> None:
    near = next(one for one in review(client)["proposals"] if one["would_be"] == "knee_on_belly")
    other_knee = next(each for each in near["criteria"] if each["check"] == "other_knee_down")
    assert other_knee["met"] is False
    answer = {"check": other_knee["check"], "value": other_knee["if_met"]}
    after = edit(client, kind="set_check", hold=near["hold"], **answer)
    assert any(one["kind"] == "knee_on_belly" and one["points"] for one in after["proposals"])
    assert undo(client)["proposals"] == review(client)["proposals"]


def test_a_still_is_the_frame_named(client: TestClient) -> None:
    still = paying(review(client))["stills"][1]
    url = f"{URL}/stills/{still['frame_index']}"
    with_skeletons = client.get(url)
    assert with_skeletons.headers["content-type"] == "image/jpeg"
    assert with_skeletons.headers["cache-control"] == "no-store"
    assert with_skeletons.content[:2] == b"\xff\xd8"
    assert client.get(url, params={"skeletons": False}).content != with_skeletons.content
    assert client.get(url).content == with_skeletons.content
    assert client.get(f"{URL}/stills/100000").status_code == 422


def test_confirmed_points_over_time(client: TestClient) -> None:
    takedown = paying(review(client))
    curve = edit(client, kind="confirm", proposal=takedown["id"])["curve"]
    assert curve[-1] == {"time_s": takedown["time_s"], "points": {"A": 2, "B": 0}}


def test_a_lesson_tells_awards_and_near_misses(client: TestClient) -> None:
    first = paying(review(client))
    edit(client, kind="confirm", proposal=first["id"])
    edit(client, kind="dismiss", proposal=review(client)["proposals"][1]["id"], reason="no")
    lesson = client.get(f"{URL}/lesson", params={"proposed": True}).json()
    assert [moment["decided"] for moment in lesson["moments"]] == [True, False, False, False]
    (taught,) = client.get(f"{URL}/lesson").json()["moments"]
    assert taught["score"] == {"A": 2, "B": 0}
    assert taught["what"].startswith("Ines Vaz brought the opponent from standing to the mat")
    assert taught["worth"].endswith("Kim decided so.")
    assert taught["frame_index"] == 100


def test_a_library_to_look_at_shows_and_refuses(library: Library) -> None:
    with (
        Library(library.folder, read_only=True) as looked_at,
        TestClient(create_app(looked_at), base_url="http://127.0.0.1:7460") as client,
    ):
        body = review(client)
        assert "can only be looked at" in body["read_only"]
        wanted = {"edit": {"kind": "confirm", "proposal": body["proposals"][0]["id"]}}
        refused = client.post(f"{URL}/edits", json=wanted)
        assert (refused.status_code, refused.json()) == (507, {"error": body["read_only"]})
        assert client.get(f"{URL}/stills/100").status_code == 200
        assert client.get(f"{URL}/lesson").status_code == 200
    assert review_of(library) == body["proposals"][0]["id"]


def review_of(library: Library) -> str:
    """Key of the first line that nobody decided."""
    return library.review(1).undecided[0].key


def test_what_was_dismissed_is_not_said_to_be_worth_anything(client: TestClient) -> None:
    first = paying(review(client))
    after = edit(client, kind="dismiss", proposal=first["id"], reason="the grip slipped.")
    told = next(one for one in after["proposals"] if one["id"] == first["id"])["summary"]
    assert told[1] == "It does not stand: Kim dismissed it (“the grip slipped”)."


def test_the_page_has_the_engines_match_clock(client: TestClient) -> None:
    """Stop at 3 s, start at 5 s, and no start before: what came before the stop counts."""
    events = [one["id"] for one in review(client)["events"] if one["event"] == "start"]
    for event in events:
        edit(client, kind="remove_event", event=event)
    edit(client, kind="add_event", event="stop", time_s=3.0)
    body = edit(client, kind="add_event", event="start", time_s=5.0)
    assert body["match_clock"]["running"] == [[0.0, 3.0], [5.0, 39.0]]


def test_a_rule_set_with_another_hold_time(
    client: TestClient, library: Library, tmp_path: Path
) -> None:
    path = tmp_path / "club.toml"
    path.write_text('name="club"\nbased_on="sport-jiu-jitsu"\n[seconds]\nhold=4\n', "utf-8")
    library.edit(1, SetRules(str(path)), "Ann")
    body = review(client)
    labels = {still["label"] for one in body["proposals"] for still in one["stills"]}
    assert "4 seconds held" in labels
    assert "3 seconds held" not in labels
    assert any("Held for four seconds" in " ".join(one["summary"]) for one in body["proposals"])
    assert "three seconds" not in str(body["proposals"])


def test_the_words_are_served_whole(client: TestClient) -> None:
    words = client.get("/api/words").json()
    assert [*words["kinds"]] == [*ProposalKind]
    assert [*words["positions"]] == [*Position]
    assert {*words["events"]} == {*EventName}
    assert {*words["findings"]} >= {*FindingKind}
    assert words["without_upper"] == ["standing", "scramble"]
    for part in ("kinds", "positions"):
        assert all(each["plain"] and each["trade"] for each in words[part].values())

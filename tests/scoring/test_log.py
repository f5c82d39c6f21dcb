"""Reading and writing score logs; every bad one is one sentence."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from posescore.errors import LogError
from posescore.holds.hold import CheckName
from posescore.scoring.log import log_from_json, log_to_json, read_log, ruling_to_json
from tests.scoring.logs import log, ruled

GOOD = log(
    [(0, 20, "standing"), (22, 31, "side_control", "A")],
    [(20.5, "takedown_attempt", "A")],
    division={"age": "adult", "belt": "blue"},
)


def test_the_documented_example(tmp_path: Path) -> None:
    path = tmp_path / "fight.json"
    path.write_text(json.dumps(GOOD), "utf-8")
    ruling = ruling_to_json(read_log(path).ruling())
    assert list(ruling) == ["proposals", "score", "result"]
    (takedown,) = ruling["proposals"]
    assert list(takedown)[:8] == [
        "time_s", "athlete", "kind", "points", "advantage", "clause", "why", "confidence",
    ]  # fmt: skip
    assert (takedown["time_s"], takedown["athlete"], takedown["kind"]) == (25.0, "A", "takedown")
    assert ruling["score"] == {
        "A": {"points": 2, "advantages": 0, "penalties": 0},
        "B": {"points": 0, "advantages": 0, "penalties": 0},
    }
    assert ruling["result"]["winner"] == "A"
    json.dumps(ruling)


def holds(*rows: dict[str, Any]) -> dict[str, Any]:
    return {"holds": list(rows)}


def hold(**changes: Any) -> dict[str, Any]:
    entry = {"start_s": 1, "end_s": 5, "position": "mount", "upper": "A"} | changes
    return holds({key: value for key, value in entry.items() if value != "absent"})


def event(**changes: Any) -> dict[str, Any]:
    entry = {"time_s": 1, "event": "tap", "athlete": "A"} | changes
    return {"events": [{key: value for key, value in entry.items() if value != "absent"}]}


BAD: list[tuple[Any, str]] = [
    ([], "must be an object with 'holds' and 'events'"),
    ("text", "must be an object"),
    (None, "must be an object"),
    ({}, "neither 'holds' nor 'events'"),
    ({"holds": {}}, "holds must be a list"),
    ({"holds": [3]}, r"holds\[0\] must be a table"),
    ({"events": "x"}, "events must be a list"),
    ({"holds": [], "rules": "judo"}, "rules cannot be used: 'judo' is not a rule set; use sport-"),
    ({"holds": [], "rules": 3}, "rules must be text"),
    ({"holds": [], "division": "adult"}, "division must be a table"),
    ({"holds": [], "division": {"belt": "blue"}}, "division needs 'age'"),
    ({"holds": [], "division": {"age": "senior"}}, "division cannot be used: 'senior' is not an"),
    ({"holds": [], "division": {"age": "adult", "belt": "pink"}}, "'pink' is not a belt"),
    (hold(position="montada"), r"holds\[0\].position 'montada' is not a position; use one of st"),
    (hold(position="back"), r"'back' is not a position"),
    (hold(position=4), r"holds\[0\].position 4 is not a position"),
    (hold(position="absent"), r"holds\[0\] needs 'position'"),
    (hold(start_s="1"), r"holds\[0\].start_s must be a number, not '1'"),
    (hold(start_s=True), r"holds\[0\].start_s must be a number, not true"),
    (hold(start_s=float("nan")), r"holds\[0\].start_s must be from 0 to 1e\+06, not nan"),
    (hold(end_s=float("inf")), r"holds\[0\].end_s must be from 0"),
    (hold(end_s=10**400), r"holds\[0\].end_s must be from 0"),
    (hold(start_s=-1), r"holds\[0\].start_s must be from 0"),
    (hold(start_s=None), r"holds\[0\].start_s must be a number"),
    (hold(end_s=0.5), r"holds\[0\].end_s must be after start_s \(1\), not 0.5"),
    (hold(end_s=1), r"holds\[0\].end_s must be after start_s"),
    (hold(upper="absent"), r"holds\[0\].upper is missing: mount needs \"A\" or \"B\""),
    (hold(upper="C"), r"holds\[0\].upper 'C' is not an athlete; use one of A, B"),
    (hold(upper=["A"]), r"holds\[0\].upper \['A'\] is not an athlete"),
    (hold(position="standing"), r"holds\[0\].upper must not be given: nobody is on top in stand"),
    (hold(confidence=2), r"holds\[0\].confidence must be from 0 to 1"),
    (hold(positon="mount"), r"holds\[0\] 'positon' is not a field of a hold"),
    (hold(checks=[]), r"holds\[0\].checks must be a table"),
    (hold(checks={"hook": 1}), r"holds\[0\].checks 'hook' is not a check; use one of other_knee"),
    (hold(checks={"hooks": 3}), r"holds\[0\].checks.hooks must be from 0 to 2, not 3"),
    (hold(checks={"hooks": True}), r"holds\[0\].checks.hooks must be a whole number, not true"),
    (hold(checks={"hooks": 1.0}), r"holds\[0\].checks.hooks must be a whole number"),
    (hold(checks={"feet_crossed": 1}), r"checks.feet_crossed must be true or false, not 1"),
    (hold(checks={"shin": "left"}), r"checks.shin 'left' is not a value of shin; use one of head_"),
    (hold(checks={"facing": False}), r"checks.facing False|checks.facing false"),
    (hold(checks={"hooks": {"value": 2, "probability": 1.5}}), "hooks.probability must be from 0"),
    (hold(checks={"hooks": {"probability": 0.5}}), "hooks needs 'value'"),
    (event(event="sneeze"), r"events\[0\].event 'sneeze' is not an event; use one of start"),
    (event(athlete="absent"), r"events\[0\].athlete is missing: tap needs"),
    (event(event="fled", athlete=None), r"events\[0\].athlete is missing: fled needs"),
    (event(athlete="a"), r"events\[0\].athlete 'a' is not an athlete"),
    (event(time_s="absent"), r"events\[0\] needs 'time_s'"),
    (event(time_s=-3), r"events\[0\].time_s must be from 0"),
    (event(who="A"), r"events\[0\] 'who' is not a field of an event"),
    (
        holds(
            {"start_s": 10, "end_s": 20, "position": "standing"},
            {"start_s": 0, "end_s": 10.1, "position": "scramble"},
        ),
        r"holds\[0\] starts at 10 s, before holds\[1\] ends at 10.1 s: holds must not overlap",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("data", "sentence"), BAD)
def test_bad_log_is_one_sentence(data: Any, sentence: str) -> None:
    with pytest.raises(LogError, match=sentence) as caught:
        log_from_json(data, "fight.json")
    text = str(caught.value)
    assert text.startswith("fight.json")
    assert text.endswith(".")
    assert "\n" not in text
    assert len(text) < 400


BAD_FILES = [
    (b"", "is empty"),
    (b"  \n", "is empty"),
    (b"{", "is not JSON"),
    (b'{"holds": [}', "is not JSON: .* at line 1, column"),
    (b"\xff\xfe\x00{", "is not UTF-8"),
    (b'{"holds": [], "holds": []}', "'holds' is given twice"),
    (b"[" * 100_000, "is not JSON"),
    (b'{"holds": [{"start_s": ' + b"9" * 5000 + b"}]}", "holds|is not JSON"),
]


@pytest.mark.parametrize(("content", "sentence"), BAD_FILES)
def test_bad_file_is_one_sentence(tmp_path: Path, content: bytes, sentence: str) -> None:
    path = tmp_path / "fight.json"
    path.write_bytes(content)
    with pytest.raises(LogError, match=sentence) as caught:
        read_log(path)
    assert "fight.json" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_missing_file_and_folder(tmp_path: Path) -> None:
    with pytest.raises(LogError, match="does not exist"):
        read_log(tmp_path / "none.json")
    with pytest.raises(LogError, match="is a folder"):
        read_log(tmp_path)
    with pytest.raises(LogError, match="cannot be read"):
        read_log("fight\0.json")


def test_unsorted_holds_and_touching_within_a_millisecond() -> None:
    rows = [(5.0, 9, "mount", "A"), (0, 5.0009, "knee_on_belly", "A")]
    found = log_from_json(log(rows))
    assert [h.start_s for h in found.holds] == [0, 5.0]


def test_order_in_the_file_does_not_matter() -> None:
    rows = [(0, 9, "closed_guard", "A"), (10, 11, "side_control", "A"), (12, 16, "mount", "A")]
    assert ruled(rows) == ruled(rows[::-1])


def test_byte_order_mark_notes_and_foreign_fields(tmp_path: Path) -> None:
    path = tmp_path / "fight.json"
    data = hold(note="clean") | {"title": "final", "version": 1}
    path.write_bytes(b"\xef\xbb\xbf" + json.dumps(data).encode())
    assert len(read_log(path).holds) == 1


def test_events_alone_and_default_rules() -> None:
    found = log_from_json({"events": [{"time_s": 3, "event": "penalty", "athlete": "B"}]})
    assert found.rules.name == "sport-jiu-jitsu"
    assert found.ruling().score["B"].penalties == 1  # type: ignore[index]


def test_rule_set_beside_the_log(tmp_path: Path) -> None:
    (tmp_path / "club.toml").write_text(
        'name = "club"\ntitle = "Club"\nbased_on = "sport-jiu-jitsu"\n[points]\nmount = 3\n'
    )
    path = tmp_path / "fight.json"
    path.write_text(json.dumps(hold() | {"rules": "club.toml"}))
    assert [p.points for p in read_log(path).ruling().proposals] == [3]


def test_written_and_read_again() -> None:
    data = GOOD | hold(
        confidence=0.75,
        checks={
            "hooks": 1,
            "facing": {"value": "head", "probability": 0.5, "seen": "the face is up"},
        },
    )
    first = log_from_json(data)
    assert log_from_json(log_to_json(first)) == first
    check = first.holds[0].check(CheckName.FACING)
    assert check is not None
    assert (check.probability, check.seen) == (0.5, "the face is up")

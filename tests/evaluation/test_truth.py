"""A truth file is held against its schema; whatever is wrong is one sentence with its place."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from posescore.errors import InputError
from posescore.evaluation.match import Assessment, AwardLine
from posescore.evaluation.truth import read_truth, schema
from posescore.resources import shipped
from posescore.scoring.proposal import Proposal, ProposalKind
from posescore.terms import Athlete, Interval, Position

TRUTH: dict[str, Any] = {
    "awards": [{"time_s": 9, "athlete": "A", "kind": "mount", "points": 4}],
    "nothings": [
        {
            "start_s": 1,
            "end_s": 3,
            "athlete": "B",
            "would_be": "sweep",
            "failed_criterion": "held for 3 seconds",
        }
    ],
    "states": [
        {"start_s": 0, "end_s": 5, "position": "standing"},
        {"start_s": 5, "end_s": 12, "position": "mount", "upper": "A"},
    ],
}


def written(folder: Path, data: object, encoding: str = "utf-8") -> Path:
    path = folder / "truth.json"
    path.write_bytes(json.dumps(data).encode(encoding))
    return path


def test_the_schema_is_a_schema_and_knows_every_position_and_kind() -> None:
    Draft202012Validator.check_schema(schema())
    states = schema()["properties"]["states"]["items"]
    assert states["properties"]["position"]["enum"] == [*Position]
    without = states["if"]["properties"]["position"]["enum"]
    assert without == [p for p in Position if not p.has_upper]
    kinds = {*ProposalKind} - {ProposalKind.NEAR, ProposalKind.NONE}
    assert {*schema()["$defs"]["kind"]["enum"]} == kinds


def test_the_samples_truth_and_a_small_one_are_read(tmp_path: Path) -> None:
    assert len(read_truth(shipped("sample_video", "truth.json"))["awards"]) == 6
    assert read_truth(written(tmp_path, TRUTH)) == TRUTH


def test_a_byte_order_mark_is_fine(tmp_path: Path) -> None:
    assert read_truth(written(tmp_path, TRUTH, "utf-8-sig")) == TRUTH


GONE = object()
BAD: list[tuple[tuple[str | int, ...], object, str]] = [
    (("states",), GONE, "the truth needs states"),
    (("awards", 0, "time_s"), GONE, "awards[0] needs time_s"),
    (("awards", 0, "time_s"), "9", "awards[0].time_s must be of type number, not '9'"),
    (("awards", 0, "time_s"), -1, "awards[0].time_s must be at least 0"),
    (("awards", 0, "time_s"), 1e300, "awards[0].time_s must be at most 1e+06"),
    (("awards", 0, "points"), 2.5, "awards[0].points must be of type integer"),
    (("awards", 0, "kind"), "throne", "awards[0].kind: 'throne' is none of takedown,"),
    (("awards", 0, "athlete"), "C", "awards[0].athlete: 'C' is none of A, B"),
    (("awards",), {}, "awards must be of type array"),
    (("nothings", 0, "failed_criterion"), "", "nothings[0].failed_criterion does not fit"),
    (("nothings", 0, "end_s"), 1, "nothings[0].end_s must be after start_s (1), not 1"),
    (("states", 1, "upper"), GONE, "states[1] needs upper"),
    (("states", 0, "upper"), "A", "states[0].upper must be left out, not 'A'"),
    (("states", 1, "position"), ["mount"], "states[1].position: ['mount'] is none of"),
]


@pytest.mark.parametrize(("place", "value", "sentence"), BAD)
def test_what_is_wrong_is_said_with_its_place(
    tmp_path: Path, place: tuple[str | int, ...], value: object, sentence: str
) -> None:
    data: Any = copy.deepcopy(TRUTH)
    inner = data
    for step in place[:-1]:
        inner = inner[step]
    if value is GONE:
        del inner[place[-1]]
    else:
        inner[place[-1]] = value
    path = written(tmp_path, data)
    with pytest.raises(InputError) as caught:
        read_truth(path)
    assert str(caught.value).startswith(f"{path}: {sentence}")
    assert str(caught.value).endswith(".")


@pytest.mark.parametrize(
    "content",
    [b"", b"{", b"\xff\xff", b"[" * 100_000, b'{"awards": NaN}', b'{"awards": [1e999]}', b"null"],
)
def test_what_is_no_truth_is_one_sentence(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "truth.json"
    path.write_bytes(content)
    with pytest.raises(InputError, match=r"^[^\n]*\.$"):
        read_truth(path)
    with pytest.raises(InputError, match="does not exist"):
        read_truth(tmp_path / "none.json")
    with pytest.raises(InputError, match="is a folder"):
        read_truth(tmp_path)


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner),
    max_leaves=6,
)


@settings(
    max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.sampled_from(["awards", "nothings", "states"]), st.integers(0, 1), JSON, st.data())
def test_anything_in_any_place_is_read_or_refused_in_a_sentence(
    tmp_path: Path, name: str, number: int, value: object, draw: st.DataObject
) -> None:
    data: Any = copy.deepcopy(TRUTH)
    entry = data[name][min(number, len(data[name]) - 1)]
    entry[draw.draw(st.sampled_from([*entry, "more"]))] = value
    said = refusal(written(tmp_path, data))
    assert said == "" or (said.endswith(".") and "\n" not in said)


def refusal(path: Path) -> str:
    """What is said against a truth; "" where it is read. Anything but a refusal is a failure."""
    try:
        read_truth(path)
    except InputError as refused:
        return str(refused)
    return ""


def test_an_assessment_says_how_sure_beside_how_often_right() -> None:
    def points(confidence: float) -> Proposal:
        stretch = Interval(1.0, 4.0)
        return Proposal(
            4.0, Athlete.A, ProposalKind.MOUNT, 4, 0, "4.4.1", "{A} sat.", confidence, stretch
        )

    lines = (AwardLine({"time_s": 4.0}, points(0.9)), AwardLine({"time_s": 9.0}, None))
    found = Assessment(lines, (points(0.5),), (), 0.8, 0.9)
    assert found.calibration == (pytest.approx(0.7), 0.5)
    data = json.loads(json.dumps(found.to_json()))
    assert (data["found"], data["mean_confidence"], data["fraction_right"]) == (1, 0.7, 0.5)
    assert data["awards"][0]["proposal"]["why"] == "A sat."
    assert Assessment((), (), (), 0.0, 0.0).calibration is None
    assert Assessment((), (), (), 0.0, 0.0).to_json()["mean_confidence"] is None

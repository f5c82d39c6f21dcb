"""Files that people hand in, changed by Hypothesis: logs, truths, COCO, rule sets; and tracks."""

from __future__ import annotations

import copy
import json
import random
import tomllib
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from posescore.evaluation.truth import read_truth
from posescore.footage.clock import FrameClock
from posescore.pose.coco import read_coco, track_from_coco
from posescore.pose.track_file import read_track, write_track
from posescore.resources import shipped
from posescore.scoring.log import read_log
from posescore.scoring.rules import FOLDER, RuleSet
from tests.faults.running import sentence_or_result
from tests.web.small_match import make_track

EXAMPLES = 25
VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.sampled_from([10**400, -1, 2**63, 1e308, float("inf"), float("nan")])
    | st.floats()
    | st.text(max_size=20)
    | st.sampled_from(["A", "mount", "\ud800", "x" * 5000, "../..", "\0", "2026-13-45"]),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3)
    ),
    max_leaves=6,
)


def places(document: Any, at: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Every place in a document."""
    found = [at] if at else []
    pairs = document.items() if isinstance(document, dict) else ()
    pairs = enumerate(document[:40]) if isinstance(document, list) else pairs
    for key, value in pairs:
        found += places(value, (*at, key))
    return found


@st.composite
def changed(draw: st.DrawFn, base: Any, values: st.SearchStrategy[Any] = VALUES) -> Any:
    """A document with one to three places set to something else, taken out, or doubled."""
    document = copy.deepcopy(base)
    for _ in range(draw(st.integers(1, 3))):
        known = places(document)
        if not known:
            return draw(values)
        *way, last = draw(st.sampled_from(known))
        inner = document
        for key in way:
            inner = inner[key]
        action = draw(st.sampled_from(("set", "set", "remove", "double")))
        if action == "set":
            inner[last] = draw(values)
        elif action == "remove":
            del inner[last]
        elif isinstance(inner, list):
            inner.append(copy.deepcopy(inner[last]))
        else:
            inner[f"{last}_"] = inner[last]
    return document


@st.composite
def written(draw: st.DrawFn, text: str) -> bytes:
    """A text as bytes, now and then cut off, marked, coded otherwise, or hit by a stray byte."""
    data = text.encode("utf-8", "surrogatepass")
    way = draw(st.sampled_from(("plain",) * 6 + ("mark", "cut", "utf-16", "stray", "deep")))
    if way == "mark":
        return b"\xef\xbb\xbf" + data
    if way == "cut":
        return data[: draw(st.integers(0, len(data)))]
    if way == "utf-16":
        return text.encode("utf-16", "surrogatepass")
    if way == "stray":
        at = draw(st.integers(0, len(data)))
        return data[:at] + draw(st.binary(min_size=1, max_size=4)) + data[at:]
    return b"[" * 100_000 if way == "deep" else data


@st.composite
def json_files(draw: st.DrawFn, base: Any) -> bytes:
    """A changed document as a file."""
    return draw(written(json.dumps(draw(changed(base)))))


@st.composite
def toml_files(draw: st.DrawFn, base: str) -> bytes:
    """A changed rule set: lines taken out, doubled, exchanged, or with another value."""
    lines = base.splitlines()
    for _ in range(draw(st.integers(1, 3))):
        at = draw(st.integers(0, len(lines) - 1))
        action = draw(st.sampled_from(("value", "remove", "double", "dots", "garbage")))
        name = lines[at].partition("=")[0]
        if action == "value":
            lines[at] = f"{name}= {json.dumps(draw(VALUES))}"
        elif action == "remove":
            del lines[at]
        elif action == "double":
            lines.insert(at, lines[at])
        elif action == "dots":
            lines.insert(at, ".".join(["a"] * draw(st.integers(2, 30_000))) + " = 1")
        else:
            lines.insert(at, draw(st.text(max_size=30)))
    return draw(written("\n".join(lines)))


def examples(
    rng: random.Random, strategy: st.SearchStrategy[bytes], path: Path, read: Callable[[], object]
) -> str:
    """Write and read so many examples."""
    ends: list[str] = []

    @seed(rng.getrandbits(32))
    @settings(
        max_examples=EXAMPLES, database=None, deadline=None, phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    @given(strategy)
    def run(content: bytes) -> None:
        path.write_bytes(content)
        ends.append(sentence_or_result(read))

    run()
    return "read or refused"


LOG = {
    "rules": "sport-jiu-jitsu", "division": {"age": "adult", "belt": "blue"},
    "holds": [
        {"start_s": 0, "end_s": 20, "position": "standing"},
        {"start_s": 22, "end_s": 31, "position": "side_control", "upper": "A", "confidence": 0.8},
        {"start_s": 31, "end_s": 40, "position": "back_control", "upper": "A",
         "checks": {"hooks": {"value": 2, "probability": 0.9}}},
    ],
    "events": [{"time_s": 20.5, "event": "takedown_attempt", "athlete": "A"}],
}  # fmt: skip


def logs(rng: random.Random, place: Path) -> str:
    """Score logs."""
    path = place / "log.json"
    return examples(rng, json_files(LOG), path, lambda: read_log(path).ruling())


@cache
def _truth() -> Any:
    whole = json.loads(shipped("sample_video", "truth.json").read_text("utf-8"))
    return {key: value[:3] if isinstance(value, list) else value for key, value in whole.items()}


def truths(rng: random.Random, place: Path) -> str:
    """Truths of a match."""
    path = place / "truth.json"
    return examples(rng, json_files(_truth()), path, lambda: read_truth(path))


@cache
def _coco() -> Any:
    whole = json.loads(shipped("sample_video", "keypoints.json").read_text("utf-8"))
    first = whole["images"][:4]
    ids = {image["id"] for image in first}
    kept = [one for one in whole["annotations"] if one["image_id"] in ids]
    return whole | {"images": first, "annotations": kept}


def coco(rng: random.Random, place: Path) -> str:
    """COCO keypoints, alone and as the track of a film."""
    path, clock = place / "keypoints.json", FrameClock.steady(100, 30.0)

    def read() -> None:
        read_coco(path)
        track_from_coco(path, clock)

    return examples(rng, json_files(_coco()), path, read)


def rules(rng: random.Random, place: Path) -> str:
    """Rule sets."""
    path = place / "rules.toml"
    base = (FOLDER / "sport-jiu-jitsu.toml").read_text("utf-8")
    assert tomllib.loads(base)
    return examples(rng, toml_files(base), path, lambda: RuleSet.load(path))


@cache
def _track(folder: str = "") -> bytes:
    path = Path(folder) / "whole.parquet"
    write_track(make_track(FrameClock.steady(60, 30.0)), path)
    return path.read_bytes()


def tracks(rng: random.Random, place: Path) -> str:
    """Parquet tracks with damaged bytes."""
    path = place / "track.parquet"
    path.write_bytes(damaged(rng, _track(str(place))))
    return sentence_or_result(lambda: read_track(path))


def damaged(rng: random.Random, data: bytes) -> bytes:
    """Bytes after one to four accidents: flipped, zeroed, cut, doubled, shuffled, overwritten."""
    out = bytearray(data)
    for _ in range(rng.randint(1, 4)):
        at, length = rng.randrange(len(out) or 1), rng.choice((1, 4, 16, 512, 4096))
        match rng.randrange(7):
            case 0:
                out[at : at + 1] = bytes([rng.randrange(256)])
            case 1:
                out[at : at + length] = bytes(len(out[at : at + length]))
            case 2:
                out[at : at + length] = rng.randbytes(length)
            case 3:
                del out[at : at + length]
            case 4:
                out[at:at] = out[at : at + length]
            case 5:
                head = rng.randrange(min(len(out), 400) or 1)
                out[head : head + 4] = rng.choice((b"\xff" * 4, bytes(4), rng.randbytes(4)))
            case _:
                del out[max(1, at) :]
    return bytes(out)

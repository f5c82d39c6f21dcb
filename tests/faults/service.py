"""The API under requests made from its own description, and then changed."""

from __future__ import annotations

import json
import random
from functools import cache
from pathlib import Path
from typing import Any

from fastapi import FastAPI
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from posescore.library.library import Library
from posescore.web.app import create_app
from tests.faults.files import EXAMPLES, VALUES, changed
from tests.faults.libraries import fresh
from tests.faults.running import FaultError

BASE = "http://127.0.0.1:7460"
SKIPPED = {("post", "/api/matches/{match_id}/outputs")}
"""What starts a process of its own."""

PLAIN = {
    "integer": st.sampled_from([1, 2, 0, -1, 3, 2**63]) | st.integers(),
    "number": st.floats(0, 60) | st.floats(),
    "boolean": st.booleans(),
    "null": st.none(),
    "string": st.sampled_from(
        ("", "Ann", "A", "sport-jiu-jitsu", "json", "takedown-A-12000", "2026-05-09")
    )
    | st.text(max_size=30),
}


@cache
def description() -> dict[str, Any]:
    """The API's own description."""
    found: dict[str, Any] = FastAPI.openapi(create_app(_Nothing()))  # type: ignore[arg-type]
    return found


class _Nothing:
    """A library that nobody asks anything."""

    read_only = "nothing can be changed."
    folder = Path()


def of_schema(schema: dict[str, Any], depth: int = 0) -> st.SearchStrategy[Any]:
    """Values that a JSON Schema of ours allows, as far as it goes."""
    if "$ref" in schema:
        name = schema["$ref"].rpartition("/")[2]
        return of_schema(description()["components"]["schemas"][name], depth + 1)
    for union in ("anyOf", "oneOf"):
        if union in schema:
            return st.one_of([of_schema(one, depth + 1) for one in schema[union]])
    if "const" in schema or "enum" in schema:
        return st.sampled_from(schema.get("enum", [schema.get("const")]))
    kind = schema.get("type")
    if kind == "object":
        return _object(schema, depth)
    if kind == "array":
        return st.lists(of_schema(schema.get("items", {}), depth + 1), max_size=3)
    return PLAIN.get(str(kind), VALUES)


def _object(schema: dict[str, Any], depth: int) -> st.SearchStrategy[Any]:
    fields = {name: of_schema(one, depth + 1) for name, one in schema.get("properties", {}).items()}
    needed = {name: fields.pop(name) for name in schema.get("required", []) if name in fields}
    return st.fixed_dictionaries(needed, optional=fields)


@st.composite
def requests(draw: st.DrawFn) -> dict[str, Any]:
    """A request to one of the endpoints; every second one is changed."""
    paths = description()["paths"]
    known = [(m, p) for p, ways in paths.items() for m in ways if (m, p) not in SKIPPED]
    method, path = draw(st.sampled_from(known))
    about, query = paths[path][method], {}
    for given_ in about.get("parameters", []):
        value = draw(of_schema(given_["schema"]) | VALUES)
        if given_["in"] == "path":
            likely = draw(st.sampled_from(["1", "2", None]))
            text = likely or str(value).encode("utf-8", "replace").decode().replace("/", "_")
            path = path.replace("{" + given_["name"] + "}", text[:200] or "1")
        elif draw(st.booleans()):
            query[given_["name"]] = str(value).encode("utf-8", "replace").decode()[:300]
    content = b""
    if "requestBody" in about:
        kind = about["requestBody"]["content"].get("application/json", {"schema": {}})
        body = draw(of_schema(kind["schema"]))
        if draw(st.booleans()):
            body = draw(changed(body))
        content = json.dumps(body).encode()
    return {"method": method.upper(), "url": path, "params": query, "content": content,
            "responses": about["responses"]}  # fmt: skip


def api(rng: random.Random, place: Path) -> str:
    """Requests: no failure of our own, no status that is not described, errors in a sentence."""
    folder = fresh(place)

    @seed(rng.getrandbits(32))
    @settings(
        max_examples=EXAMPLES, database=None, deadline=None, phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    @given(requests())
    def run(asked: dict[str, Any]) -> None:
        known = asked.pop("responses")
        asked["headers"] = {"content-type": "application/json"}
        answer = client.request(**asked)
        described = {int(status) for status in known if status.isdigit()} | {200, 206, 304, 416}
        if answer.status_code not in described:
            raise FaultError(f"{answer.status_code} {answer.text[:200]} for {asked}")
        if answer.status_code >= 400 and not answer.json()["error"].endswith((".", ".)")):
            raise FaultError(f"no sentence: {answer.text[:300]} for {asked}")

    with Library(folder) as library, TestClient(create_app(library), base_url=BASE) as client:
        run()
    return "answered"

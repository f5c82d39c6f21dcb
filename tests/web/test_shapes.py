"""The shapes that the pages' type checker knows are those that the API sends."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

SHAPES = Path(__file__).parents[2] / ".ci" / "javascript" / "shapes.d.ts"
SENT = {
    "Interval": "StretchOut",
    "State": "StateOut",
    "Hold": "HoldOut",
    "MatchEventShape": "EventOut",
    "Award": "AwardOut",
    "Step": "StepOut",
    "Criterion": "CriterionOut",
    "Decision": "DecisionOut",
    "Proposal": "ProposalOut",
    "Finding": "FindingOut",
    "Review": "ReviewOut",
    "TrackAbout": "TrackOut",
    "Run": "RunOut",
    "Standing": "StandingOut",
    "Row": "RowOut",
    "Source": "SourceOut",
    "Settled": "SettledOut",
    "LineDifference": "LineOut",
    "StretchDifference": "StretchDifferenceOut",
}
INTERFACE = re.compile(r"interface (\w+)(?: extends [\w, ]+)? \{(.*?)\}(?=\n)", re.S)
FIELD = re.compile(r"(?:^|[;{\n])\s*(\w+): ([^;\n]+)")


def shapes() -> dict[str, dict[str, str]]:
    found = INTERFACE.findall(SHAPES.read_text("utf-8"))
    return {name: dict(FIELD.findall(body.replace("{ [name", ""))) for name, body in found}


def test_every_shape_is_named_here() -> None:
    assert set(shapes()) == set(SENT)


@pytest.mark.parametrize("shape", SENT)
def test_every_field_is_sent_and_null_where_it_may_be(client: TestClient, shape: str) -> None:
    described = client.get("/api/openapi.json").json()["components"]["schemas"][SENT[shape]]
    sent: dict[str, Any] = described["properties"]
    for field, kind in shapes()[shape].items():
        assert field in sent
        may_be_null = {"type": "null"} in sent[field].get("anyOf", [])
        assert ("null" in kind) == may_be_null, field

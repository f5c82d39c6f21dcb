"""Every edit goes to plain data and back; what makes no sense is one sentence."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from posescore.errors import InputError
from posescore.holds.event import EventName
from posescore.holds.hold import CheckName
from posescore.library.review.edits import (
    EDITS,
    AddAward,
    AddEvent,
    AddHold,
    Change,
    Confirm,
    Dismiss,
    Edge,
    Edit,
    Keep,
    Merge,
    NameStretch,
    Relabel,
    RemoveEvent,
    RemoveHold,
    Reopen,
    SetCheck,
    SetDivision,
    SetEdge,
    SetRules,
    Settle,
    Split,
    SwapAthletes,
    Taken,
)  # fmt: skip
from posescore.scoring.proposal import ProposalKind
from posescore.terms import Athlete, Interval, Position

SECONDS = st.floats(0, 1e5, allow_nan=False)
KEY = st.text(max_size=12)
TEXT = st.text(max_size=20)
ATHLETE = st.sampled_from(Athlete)
KIND = st.sampled_from(ProposalKind)
MAYBE_ATHLETE = st.none() | ATHLETE

EVERY = st.one_of(
    st.builds(Confirm, KEY, TEXT),
    st.builds(Change, KEY, TEXT, MAYBE_ATHLETE, st.none() | KIND, st.none() | st.integers(0, 9)),
    st.builds(Dismiss, KEY, TEXT),
    st.builds(Reopen, KEY),
    st.builds(
        AddAward, ATHLETE, KIND, SECONDS, st.integers(0, 9), st.integers(0, 1), TEXT,
        st.none() | st.builds(lambda a, b: Interval(min(a, b), max(a, b)), SECONDS, SECONDS),
    ),
    st.builds(SetEdge, KEY, st.sampled_from(Edge), SECONDS),
    st.builds(Split, KEY, SECONDS),
    st.builds(Merge, KEY, KEY, st.sampled_from(Keep)),
    st.builds(Relabel, KEY, st.sampled_from(Position), MAYBE_ATHLETE),
    st.builds(AddHold, SECONDS, SECONDS, st.sampled_from(Position), MAYBE_ATHLETE),
    st.builds(NameStretch, SECONDS, SECONDS, st.sampled_from(Position), MAYBE_ATHLETE),
    st.builds(
        Settle, TEXT, TEXT, st.sampled_from(Taken), KEY,
        do=st.none() | st.builds(lambda key: Confirm(key).to_json(), KEY),
    ),
    st.builds(RemoveHold, KEY),
    st.builds(
        SetCheck, KEY, st.sampled_from(CheckName),
        st.none() | st.booleans() | st.integers(0, 2) | st.sampled_from(["head", "feet"]),
    ),
    st.builds(AddEvent, st.sampled_from(EventName), SECONDS, MAYBE_ATHLETE),
    st.builds(RemoveEvent, KEY),
    st.builds(SwapAthletes, SECONDS, st.none() | SECONDS),
    st.builds(SetRules, KEY),
    st.builds(SetDivision, st.none() | st.dictionaries(KEY, TEXT, max_size=2)),
)  # fmt: skip


@given(EVERY)
def test_an_edit_comes_back_from_json_as_it_went(edit: Edit) -> None:
    text = json.dumps(edit.to_json())
    back = Edit.from_json(json.loads(text))
    assert back == edit
    assert type(back) is type(edit)
    assert json.dumps(back.to_json()) == text


def test_every_kind_is_known_by_its_name() -> None:
    assert len(EDITS) == 21
    assert all(EDITS[kind].kind == kind for kind in EDITS)


@pytest.mark.parametrize(
    ("data", "names"),
    [
        ({"kind": "promote"}, "kind"),
        ({}, "kind"),
        ({"kind": "split", "hold": "x"}, "at_s"),
        ({"kind": "split", "hold": "x", "at_s": float("nan")}, "at_s"),
        ({"kind": "split", "hold": "x", "at_s": "soon"}, "at_s"),
        ({"kind": "split", "hold": "x", "at_s": 1.0, "by": "me"}, "by"),
        ({"kind": "relabel", "hold": "x", "position": "throne"}, "position"),
    ],
)
def test_a_broken_edit_is_one_sentence_that_names_the_field(
    data: dict[str, object], names: str
) -> None:
    with pytest.raises(InputError, match=names) as caught:
        Edit.from_json(data)
    assert "\n" not in str(caught.value)

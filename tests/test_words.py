"""Words come from one file, and names go only where a sentence asks for them."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path
from string import Formatter

import pytest
from hypothesis import given
from hypothesis import strategies as st

import posescore
from posescore.holds.check import CHECKS
from posescore.holds.event import EventName
from posescore.scoring.proposal import ProposalKind
from posescore.scoring.rules import DECIDERS
from posescore.terms import STATES, Athlete, Position, State
from posescore.words import (
    LETTERS,
    WORDS,
    check_words,
    confidence_words,
    held_words,
    how_seen,
    name_field,
    ordinal,
    seconds_words,
    sentence,
    state_words,
    trade,
    with_names,
)

A, B = Athlete.A, Athlete.B
NAMES = {A: "Mira {B}", B: "Anders B"}
ROOT = Path(posescore.__file__).parent


def test_every_word_that_is_asked_for_is_there() -> None:
    assert [*WORDS["kinds"]] == [*ProposalKind]
    assert [*WORDS["positions"]] == [*Position]
    assert {*WORDS["events"]} == {*EventName}
    assert {*WORDS["checks"]} == {*CHECKS}
    for name, kind in CHECKS.items():
        said = [check_words(name, value) for value in kind.values]
        assert len({*said}) == len(said) == len(WORDS["checks"][name])
    assert len({state_words(state) for state in STATES}) == len(STATES)


def _texts(path: Path) -> Iterator[str]:
    """Every string in a module, of an f-string what stands before its first field."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.JoinedStr):
            node = node.values[0]
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value


def _calls(path: Path) -> Iterator[tuple[str, set[str | None]]]:
    """Sentences that a module names outright, with the fields it gives them."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        called = getattr(node, "func", None)
        if not isinstance(node, ast.Call) or not all(keyword.arg for keyword in node.keywords):
            continue
        fields = {keyword.arg for keyword in node.keywords}
        if getattr(called, "attr", "") == "named":  # of bars and of findings, told an interval
            fields |= {"start_s", "end_s"}
        elif getattr(called, "id", "") != "sentence":
            continue
        for name in node.args:
            if isinstance(name, ast.Constant) and name.value in WORDS["sentences"]:
                yield str(name.value), fields


def test_every_sentence_is_asked_for_and_gets_its_fields() -> None:
    modules = [path for path in ROOT.rglob("*.py") if path != ROOT / "words.py"]
    texts = {text for path in modules for text in _texts(path)}
    asked = {*texts, *(f"asks_{kind}" for kind in ProposalKind)}
    asked |= {f"{text}_one_count" for text in texts} | {f"leads_by_{by}" for by in DECIDERS}
    assert not {*WORDS["sentences"]} - asked
    calls = [call for path in modules for call in _calls(path)]
    assert len(calls) > 60
    for name, given_fields in calls:
        fields = {field for _, field, _, _ in Formatter().parse(WORDS["sentences"][name]) if field}
        assert fields <= given_fields, name


def test_what_is_put_into_a_sentence() -> None:
    said = sentence("took_from", who=A, position=Position.MOUNT, out_of=Position.HALF_GUARD)
    assert said == "{A} took mount from half guard"
    odd = sentence("unsure_whether", seen="the {who} in {braces} {A}")
    assert odd == "unsure whether the {who} in {braces} {A}", "what is put in is not read again"
    assert [ordinal(count) for count in (1, 4, 5)] == ["first", "fourth", "5th"]


def test_only_fields_become_names() -> None:
    sentence = f"{name_field(A)} took {name_field(B)} down. A vitamin, plan B, {{C}} and {{"
    said = with_names(sentence, NAMES)
    assert said == "Mira {B} took Anders B down. A vitamin, plan B, {C} and {"
    assert with_names(sentence, LETTERS).startswith("A took B down.")


@given(st.text().filter(lambda text: "{A}" not in text and "{B}" not in text))
def test_a_text_without_fields_is_left_alone(text: str) -> None:
    assert with_names(text, NAMES) == text


def test_where_the_upper_athlete_is() -> None:
    assert state_words(State(Position.STANDING)) == "standing"
    assert state_words(State(Position.KNEE_ON_BELLY, A)) == "knee-on-belly, {A} on top"
    assert state_words(State(Position.BACK_CONTROL, B)) == "back control, {B} behind"
    assert trade("leg_trapped") == "leg trapped", "a word that the trade has none for"


@pytest.mark.parametrize(
    ("fraction", "visible", "probability", "said"),
    [
        (0.96, 1.0, 0.9, "seen so 96% of the time"),
        (0.5, None, 0.7, "seen so 50% of the time"),
        (0.2, 1.0, 0.9, "frame by frame it is unclear"),
        (0.9, 1.0, 0.6, "seen so 90% of the time; this angle hardly shows it"),
        (0.9, 0.2, 0.9, "what is usual, for both athletes are seen 20% of the time"),
        (None, None, 0.9, ""),
    ],
)
def test_how_well_it_was_seen(
    fraction: float | None, visible: float | None, probability: float, said: str
) -> None:
    assert how_seen(fraction, visible, probability) == said


def test_numbers_as_people_say_them() -> None:
    assert [held_words(s) for s in (1, 3, 4.5, 12)] == [
        "one second", "three seconds", "4.5 seconds", "12 seconds",
    ]  # fmt: skip
    assert [seconds_words(s) for s in (1.0, 2.44)] == ["1 second", "2.4 seconds"]
    assert [confidence_words(p) for p in (0.0, 0.5, 0.75, 0.82, 1.0)] == [
        "unsure, 1 %", "not very sure, 50 %", "fairly sure, 75 %", "fairly sure, 82 %",
        "very sure, 99 %",
    ]  # fmt: skip

"""A rule set: values, seconds, clauses and criteria, read from TOML. Rules are data."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final, Self

from posescore.errors import InputError
from posescore.holds.check import CHECKS, Value
from posescore.holds.hold import CheckName
from posescore.reading import Reader, listed, read_text
from posescore.scoring.match_time import MatchTimes
from posescore.scoring.proposal import ProposalKind
from posescore.terms import Position
from posescore.words import check_words

FOLDER: Final = Path(__file__).parent / "rulesets"
DEFAULT: Final = "sport-jiu-jitsu"

NOT_SCORING: Final = (ProposalKind.PENALTY, ProposalKind.NEAR, ProposalKind.NONE)
"""Kinds whose worth is not a value of the rule set."""
DECIDERS: Final = ("points", "advantages", "penalties", "referee")
MOST_BYTES: Final = 2**20
"""Of a rule set: a hundred times the shipped one."""
_DEEP_KEY: Final = re.compile(
    r"""(?:^|[{,\[])[ \t]*(?:(?:[\w-]+|"[^"\n]*"|'[^'\n]*')[ \t]*\.[ \t]*){9}""", re.MULTILINE
)
"""Ten names joined by dots: the reader of TOML takes memory by their number for each of them."""
CLAUSES: Final = (
    "values", "held", "out_of_area", "given_up", "caught", "locked", "caught_at_end", "chain",
    "order", "takedown", "knees", "counter", "standing_back", "pull_first", "trousers",
    "pulled_on_top", "guard_pass", "knee_on_belly", "mount", "back_mount", "back_control", "sweep",
    "advantage", "penalty", "fled",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Seconds:
    """Durations the engine goes by, in seconds. The TOML says why each is what it is."""

    hold: float
    stalling: float
    standing_again: float
    reached: float
    joined_gap: float
    regained_after: float
    established: float
    attack_reach: float
    event_slack: float

    def scaled(self, factor: float) -> Seconds:
        """All durations times a factor."""
        return Seconds(*(getattr(self, name) * factor for name in self.__slots__))


@dataclass(frozen=True, slots=True)
class AskedOf:
    """One criterion that a position must fulfil.

    ``met`` lists the values that fulfil it, ``near`` those that leave an advantage, ``neither``
    those that leave nothing. ``seen`` has words of its own for values, where the usual ones do
    not do.
    """

    check: CheckName
    asks: str
    met: tuple[Value, ...]
    near: tuple[Value, ...]
    neither: tuple[Value, ...]
    clause: str
    seen: Mapping[str, str]

    def words(self, value: Value) -> str:
        """What a value means, in words."""
        return self.seen.get(str(value).lower()) or check_words(self.check, value)


@dataclass(frozen=True, slots=True)
class PenaltyStep:
    """What one more penalty gives the opponent."""

    points: int
    advantages: int
    disqualified: bool


@dataclass(frozen=True, slots=True)
class RuleSet:
    """The rules one match is judged by."""

    name: str
    title: str
    points: Mapping[ProposalKind, int]
    clauses: Mapping[str, str]
    seconds: Seconds
    criteria: Mapping[Position, tuple[AskedOf, ...]]
    pass_lands_in: frozenset[Position]
    submission_advantage: bool
    penalties: tuple[PenaltyStep, ...]
    deciders: tuple[str, ...]
    match_times: MatchTimes
    book: str
    """Where its clauses stand in print; "" where nobody said."""
    elsewhere: Mapping[str, str]
    """Clauses that were read elsewhere, and where."""

    @classmethod
    def names(cls) -> list[str]:
        """Names of the rule sets that ship with the program."""
        return sorted(path.stem for path in FOLDER.glob("*.toml"))

    @classmethod
    def load(cls, name_or_path: str | Path = DEFAULT) -> Self:
        """Read a rule set by the name of a shipped one, or from a TOML file.

        Raises
        ------
        InputError
            One sentence that names the file and the field.
        """
        if str(name_or_path) in cls.names():
            return cls._shipped(str(name_or_path))
        return cls._from(Reader(Path(name_or_path).name, _merged(name_or_path, ())))

    @classmethod
    @cache
    def _shipped(cls, name: str) -> Self:
        return cls._from(Reader(name, _merged(name, ())))

    @classmethod
    def _from(cls, top: Reader) -> Self:
        submission = top.at("advantages").at("submission").flag()
        lands_in = [
            Position(item.one_of(Position, "a position"))
            for item in top.at("guard_pass").at("lands_in").items()
        ]
        order = [
            item.one_of(DECIDERS, "a way to decide")
            for item in top.at("deciding").at("order").items()
        ]
        points = top.at("points")
        clauses = top.at("clauses")
        sources = top.at("sources") if top.has("sources") else None
        return cls(
            name=top.at("name").text(),
            title=top.at("title").text(),
            points={
                kind: points.at(kind).whole() for kind in ProposalKind if kind not in NOT_SCORING
            },
            clauses={clause: clauses.at(clause).text() for clause in CLAUSES},
            seconds=_seconds(top.at("seconds")),
            criteria=_criteria(top.at("criteria")),
            pass_lands_in=frozenset(lands_in),
            submission_advantage=submission,
            penalties=tuple(_penalty(step) for step in top.at("penalties").items()),
            deciders=tuple(order),
            match_times=MatchTimes.read(top),
            book=sources.at("book").text() if sources else "",
            elsewhere=_elsewhere(sources.at("elsewhere")) if sources else {},
        )


def _merged(name_or_path: str | Path, seen: tuple[Path, ...]) -> dict[str, object]:
    """A rule set's data with what it is based on beneath it."""
    path = _path_of(name_or_path)
    if path in seen:
        raise InputError(f"{path.name}: 'based_on' leads back to itself: remove it.")
    try:
        text = read_text(path, InputError, MOST_BYTES)
        if _DEEP_KEY.search(text):
            raise InputError(f"{path.name}: a key is nested too deep: no rule set needs ten names.")
        data: dict[str, object] = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise InputError(f"{path.name} is not TOML: {str(problem).rstrip('.')}.") from None
    except (ValueError, RecursionError):
        raise InputError(f"{path.name} is not TOML that can be read.") from None
    base = data.pop("based_on", None)
    if base is None:
        return data
    name = Reader(path.name, base, "based_on").text()
    beside = path.parent / name
    return _over(_merged(beside if name.endswith(".toml") else name, (*seen, path)), data)


def _path_of(name_or_path: str | Path) -> Path:
    """Where a rule set lies: a file when it looks like one, else a shipped name."""
    shipped = FOLDER / f"{name_or_path}.toml"
    if str(name_or_path) in RuleSet.names():
        return shipped
    path = Path(name_or_path)
    if path.suffix == ".toml" or path.exists():
        return path
    raise InputError(
        f"{str(name_or_path)!r} is not a rule set; use {listed(RuleSet.names())} or a TOML file."
    )


def _over(below: dict[str, object], above: Mapping[str, object]) -> dict[str, object]:
    """Tables merged, everything else replaced."""
    merged = dict(below)
    for key, value in above.items():
        old = merged.get(key)
        merged[key] = (
            _over(old, value) if isinstance(old, dict) and isinstance(value, Mapping) else value
        )
    return merged


def _elsewhere(table: Reader) -> dict[str, str]:
    """The place of each clause, from lists of clauses by place."""
    places = table.children().items()
    return {clause.text(): place for place, clauses in places for clause in clauses.items()}


def _seconds(table: Reader) -> Seconds:
    return Seconds(**{name: table.at(name).number() for name in Seconds.__slots__})


def _penalty(step: Reader) -> PenaltyStep:
    return PenaltyStep(
        step.at("points").whole(), step.at("advantages").whole(), step.at("disqualified").flag()
    )


def _criteria(table: Reader) -> dict[Position, tuple[AskedOf, ...]]:
    table.only(Position, "a position")
    found: dict[Position, tuple[AskedOf, ...]] = {}
    for position, asked in table.children().items():
        asked.only(CheckName, "a check")
        found[Position(position)] = tuple(
            _asked(key, entry) for key, entry in asked.children().items()
        )
    return found


def _asked(check: str, entry: Reader) -> AskedOf:
    return AskedOf(
        check=CheckName(check),
        asks=entry.at("asks").text(),
        met=_values(CheckName(check), entry.at("met")),
        near=_values(CheckName(check), entry.at("near")),
        neither=_values(CheckName(check), entry.at("neither")),
        clause=entry.at("clause").text(),
        seen={key: words.text() for key, words in entry.at("seen").children().items()}
        if entry.has("seen")
        else {},
    )


def _values(check: CheckName, values: Reader) -> tuple[Value, ...]:
    return tuple(check_value(check, item) for item in values.items())


def check_value(check: CheckName, entry: Reader) -> Value:
    """A value of a check, one of those that it may have."""
    values = CHECKS[check].values
    if isinstance(values[0], bool):
        return entry.flag()
    if isinstance(values[0], str):
        return entry.one_of(map(str, values), f"a value of {check}")
    return entry.whole(0, len(values) - 1)

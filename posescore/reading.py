"""Reads values out of parsed JSON or TOML; what does not fit is one sentence naming the field."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn

from posescore.errors import InputError

LONGEST_S = 1e6
"""No footage is longer: eleven days in seconds."""


def read_text(path: Path, error: type[InputError]) -> str:
    """Text of a UTF-8 file, or one sentence that says why there is none."""
    try:
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError:
        raise error(f"{path} is not UTF-8 text: save it as UTF-8.") from None
    except IsADirectoryError:
        raise error(f"{path} is a folder: give a file.") from None
    except FileNotFoundError:
        raise error(f"{path} does not exist: check the path.") from None
    except (OSError, ValueError) as problem:
        reason = getattr(problem, "strerror", None) or str(problem)
        raise error(f"{path} cannot be read ({reason}).") from None


def read_json(path: Path, error: type[InputError]) -> object:
    """What a JSON file says, or one sentence that says why it says nothing."""

    def once(pairs: list[tuple[str, object]]) -> dict[str, object]:
        """An object whose names are each given once; a second would replace the first unseen."""
        table = dict(pairs)
        if len(table) < len(pairs):
            names = [name for name, _ in pairs]
            twice = next(name for name in names if names.count(name) > 1)
            raise error(f"{path}: {shown(twice)} is given twice in one place: keep one.")
        return table

    text = read_text(path, error)
    if not text.strip():
        raise error(f"{path} is empty: choose another file.")
    try:
        return json.loads(text, object_pairs_hook=once)
    except json.JSONDecodeError as problem:
        where = f"line {problem.lineno}, column {problem.colno}"
        raise error(f"{path} is not JSON: {problem.msg} at {where}.") from None
    except (RecursionError, ValueError):
        raise error(f"{path} is not JSON that can be read: nested or numbered too far.") from None


def shown(value: object) -> str:
    """A value as it may stand in a sentence: short, whatever it is."""
    try:
        text = repr(value) if not isinstance(value, bool) else str(value).lower()
    except ValueError:  # a whole number of thousands of digits
        return "a number too long to show"
    return text if len(text) <= 40 else text[:37] + "..."


def listed(words: Iterable[object]) -> str:
    """Words as a list to choose from."""
    return ", ".join(str(word) for word in words)


@dataclass(frozen=True, slots=True)
class Reader:
    """One value inside a document: where it stands, and how to complain about it.

    Parameters
    ----------
    name
        The document, as a person knows it (a file name).
    value
        The parsed value.
    field
        Where it stands in the document, such as ``holds[3].upper``.
    error
        The kind of error to raise.
    """

    name: str
    value: object
    field: str = ""
    error: type[InputError] = InputError

    def fail(self, problem: str) -> NoReturn:
        """Raise the one sentence."""
        field = f"{self.field} " if self.field else ""
        raise self.error(f"{self.name}: {field}{problem}")

    def table(self) -> Mapping[str, object]:
        """The value as a table (a JSON object)."""
        if not isinstance(self.value, Mapping):
            self.fail(f"must be a table of named values, not {shown(self.value)}.")
        return self.value

    def has(self, key: str) -> bool:
        """True when the table has the key, with something in it."""
        return self.table().get(key) is not None

    def at(self, key: str) -> Reader:
        """The value under a key, which must be there."""
        table = self.table()
        if key not in table:
            self.fail(f"needs '{key}'." if self.field else f"'{key}' is missing.")
        return self.child(key, table[key])

    def child(self, key: str, value: object) -> Reader:
        """A value of this table."""
        field = f"{self.field}.{key}" if self.field else key
        return Reader(self.name, value, field, self.error)

    def children(self) -> dict[str, Reader]:
        """All values of a table."""
        return {key: self.child(key, value) for key, value in self.table().items()}

    def items(self) -> list[Reader]:
        """All values of a list."""
        if not isinstance(self.value, list):
            self.fail(f"must be a list, not {shown(self.value)}.")
        return [
            Reader(self.name, value, f"{self.field}[{i}]", self.error)
            for i, value in enumerate(self.value)
        ]

    def number(self, least: float = 0.0, most: float = LONGEST_S) -> float:
        """The value as a finite number within bounds."""
        if isinstance(self.value, bool) or not isinstance(self.value, int | float):
            self.fail(f"must be a number, not {shown(self.value)}.")
        if not least <= self.value <= most:  # refuses NaN too
            self.fail(f"must be from {least:g} to {most:g}, not {shown(self.value)}.")
        return float(self.value)

    def whole(self, least: int = 0, most: int = 1000) -> int:
        """The value as a whole number within bounds."""
        if isinstance(self.value, bool) or not isinstance(self.value, int):
            self.fail(f"must be a whole number, not {shown(self.value)}.")
        if not least <= self.value <= most:
            self.fail(f"must be from {least} to {most}, not {shown(self.value)}.")
        return self.value

    def flag(self) -> bool:
        """The value as true or false."""
        if not isinstance(self.value, bool):
            self.fail(f"must be true or false, not {shown(self.value)}.")
        return self.value

    def text(self) -> str:
        """The value as text."""
        if not isinstance(self.value, str):
            self.fail(f"must be text, not {shown(self.value)}.")
        return self.value

    def one_of(self, choices: Iterable[str], kind: str) -> str:
        """The value as one of the known words."""
        choices = list(choices)
        if not isinstance(self.value, str) or self.value not in choices:
            self.fail(f"{shown(self.value)} is not {kind}; use one of {listed(choices)}.")
        return self.value

    def only(self, known: Iterable[str], kind: str) -> None:
        """Refuse keys that are not known: a misspelt field would else be lost silently."""
        known = list(known)
        for key in self.table():
            if key not in known:
                self.fail(f"{shown(key)} is not {kind}; use one of {listed(known)}.")

"""Reads values out of parsed JSON or TOML; what does not fit is one sentence naming the field."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, NoReturn

from posescore.errors import InputError

LONGEST_S = 1e6
"""No footage is longer: eleven days in seconds."""


MOST_BYTES: Final = 16 * 2**20
"""Of a text that a person or a program writes about one match."""
MOST_DEPTH: Final = 40
"""Levels of lists and tables; no format of ours has ten."""


def read_text(path: Path, error: type[InputError], most_bytes: int = MOST_BYTES) -> str:
    """Text of a UTF-8 file, or one sentence that says why there is none."""
    try:
        if path.stat().st_size > most_bytes:
            raise error(f"{path} is larger than {most_bytes / 2**20:g} MB: give the right file.")
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


def read_json(
    path: Path, error: type[InputError], most_bytes: int = MOST_BYTES, *, finite: bool = True
) -> Any:
    """Plain data of a JSON file: UTF-8, with or without a byte order mark.

    ``finite`` refuses NaN and Infinity wherever they stand, which are no JSON.

    Raises
    ------
    InputError
        Of the kind ``error``: one sentence that names the file and the place in it.
    """

    def no_number(constant: str) -> NoReturn:
        raise error(f"{path}: {constant} is not a number that JSON knows.")

    text = read_text(path, error, most_bytes)
    if not text.strip():
        raise error(f"{path} is empty: give a JSON file.")
    try:
        data = json.loads(
            text,
            parse_constant=no_number if finite else float,
            object_pairs_hook=lambda pairs: _once(pairs, path, error),
        )
    except json.JSONDecodeError as problem:
        where = f"line {problem.lineno}, column {problem.colno}"
        raise error(f"{path} is not JSON: {problem.msg} at {where}.") from None
    except (RecursionError, ValueError):
        raise error(f"{path} is not JSON that can be read: nested or numbered too far.") from None
    if _is_deeper(data, MOST_DEPTH):
        raise error(f"{path} is nested deeper than {MOST_DEPTH} levels: give the right file.")
    return data


def _once(
    pairs: list[tuple[str, object]], path: Path, error: type[InputError]
) -> dict[str, object]:
    """A JSON object whose names are each given once; a second would silently replace the first."""
    table = dict(pairs)
    if len(table) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise error(f"{path}: {shown(twice)} is given twice in one place: keep one.")
    return table


def _is_deeper(data: object, levels: int) -> bool:
    """True where lists and tables lie in one another deeper than so many levels."""
    layer: list[Any] = [data] if isinstance(data, dict | list) else []
    for _ in range(levels + 1):
        parts = (part.values() if isinstance(part, dict) else part for part in layer)
        layer = [one for part in parts for one in part if isinstance(one, dict | list)]
        if not layer:
            return False
    return True


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

"""What a row of the database cannot be read for, in one sentence that names match and table."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, NoReturn

from posescore.errors import PoseScoreError, StorageError
from posescore.library.store.plain import utf8


class DamagedRowError(StorageError):
    """A row that does not hold what it must; the storage adds which library it lies in."""

    def __init__(self, match_id: object, table: str, reason: str) -> None:
        super().__init__(f"match {match_id}: its row in the table '{table}' is damaged ({reason})")
        self.match_id = match_id
        self.table = table
        self.reason = reason

    def of_library(self, path: object) -> StorageError:
        """The sentence for a person: where it lies, and what to do."""
        return StorageError(
            f"match {self.match_id}: its row in the table '{self.table}' of {path} is damaged "
            f"({self.reason}): see 'posescore library check', then repair or restore the library."
        )


@contextmanager
def reading_row(match_id: object, table: str) -> Iterator[None]:
    """Whatever goes wrong while a row is read means that the row is damaged.

    Raises
    ------
    DamagedRowError
        In place of any error.
    """
    try:
        yield
    except DamagedRowError:
        raise
    except MemoryError:
        raise
    except Exception as error:
        raise DamagedRowError(match_id, table, _reason(error)) from error


@contextmanager
def replaying(match_id: int) -> Iterator[None]:
    """What was read of a log leads nowhere: then its rows hold something that no edit wrote.

    Raises
    ------
    DamagedRowError
        In place of any error that is no sentence of ours.
    """
    try:
        yield
    except PoseScoreError:
        raise
    except Exception as error:
        with reading_row(match_id, "entry"):
            raise error from None


def _reason(error: Exception) -> str:
    """What is wrong, short; the kind of error where it has no words of its own."""
    said = " ".join(str(error).split()).rstrip(".")
    said = "".join(c if c.isprintable() else "?" for c in said)[:160]
    return said or type(error).__name__


def text_of(value: object, field: str) -> str:
    """The value as text that UTF-8 can hold.

    Raises
    ------
    TypeError, ValueError
        A few words: it is something else, or holds bytes that were no text, or half of a pair.
    """
    if not isinstance(value, str):
        raise TypeError(f"{field}: is no text")
    try:
        value.encode()
    except UnicodeEncodeError:
        raise ValueError(f"{field}: holds bytes that are no text") from None
    return value


def json_of(value: object, field: str) -> Any:
    """The plain data that a kept JSON text stands for; half of a pair in a text becomes ``?``.

    Raises
    ------
    TypeError, ValueError
        A few words.
    """

    def no_number(constant: str) -> NoReturn:
        raise ValueError(f"{field}: {constant} is no number")

    text = text_of(value, field)
    data = json.loads(text, parse_constant=no_number)
    if "\\ud" in text.lower():  # written as escapes; a lone half of a pair is no text
        data = json.loads(utf8(json.dumps(data, ensure_ascii=False)))
    return data

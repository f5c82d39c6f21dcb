"""Between our frozen types and plain data (what JSON can hold), checked on the way in."""

from __future__ import annotations

from typing import Any, Final, TypeVar

from pydantic import TypeAdapter, ValidationError

from posescore.errors import InputError

T = TypeVar("T")

LARGEST_ID: Final = 2**63 - 1
"""The largest whole number that the database holds."""


_ADAPTERS: Final[dict[object, TypeAdapter[Any]]] = {}


def _adapter(kind: Any) -> TypeAdapter[Any]:
    if kind not in _ADAPTERS:
        _ADAPTERS[kind] = TypeAdapter(kind)
    return _ADAPTERS[kind]


def to_plain(value: Any, kind: object = None) -> Any:
    """Plain data of a value; ``kind`` is its type where the value alone does not tell."""
    return _adapter(kind or type(value)).dump_python(value, mode="json")


def from_plain(kind: type[T], data: Any, what: str) -> T:
    """The value that plain data stands for.

    Raises
    ------
    InputError
        One sentence that names ``what``, the field and what is wrong with it.
    """
    try:
        made: T = _adapter(kind).validate_python(data)
    except ValidationError as error:
        first = error.errors()[0]
        field = ".".join(str(part) for part in first["loc"]) or "value"
        raise InputError(f"{what}: {field}: {first['msg']}.") from error
    return made


def utf8(text: str) -> str:
    """The text as UTF-8 can hold it; what a broken file name smuggled in becomes ``?``."""
    return text.encode("utf-8", "replace").decode("utf-8")

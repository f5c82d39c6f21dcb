"""The body of a posted edit: documented kind by kind, checked by the library itself."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

from pydantic import TypeAdapter, WithJsonSchema

from posescore.library.review.edits import EDITS, Edit
from posescore.web.wire import By


def _schema_of(kind: str, edit: type[Edit]) -> dict[str, Any]:
    """JSON Schema of one kind of edit, with everything it refers to written in place."""
    raw = TypeAdapter(edit).json_schema()
    schema: dict[str, Any] = _in_place(raw, raw.pop("$defs", {}))
    schema["properties"] = {"kind": {"const": kind}, **schema.get("properties", {})}
    schema["required"] = ["kind", *schema.get("required", [])]
    return schema


def _in_place(part: Any, definitions: Mapping[str, Any]) -> Any:
    if isinstance(part, list):
        return [_in_place(one, definitions) for one in part]
    if not isinstance(part, dict):
        return part
    if "$ref" in part:
        return _in_place(definitions[str(part["$ref"]).rsplit("/", 1)[-1]], definitions)
    return {name: _in_place(value, definitions) for name, value in part.items()}


EDIT_SCHEMA = {"oneOf": [_schema_of(kind, edit) for kind, edit in EDITS.items()]}


class EditIn(By):
    """One edit and who makes it.

    A wrong edit is answered with the library's own sentence, which names the kind and the field.
    """

    edit: Annotated[dict[str, Any], WithJsonSchema(EDIT_SCHEMA)]

"""The truth of a match, read from a file and held against its schema (docs/formats.md)."""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any, Final

from jsonschema import Draft202012Validator
from jsonschema.exceptions import ValidationError, best_match

from posescore.errors import InputError
from posescore.reading import read_json, shown

SCHEMA_PATH: Final = Path(__file__).with_name("truth.schema.json")


@cache
def schema() -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of a truth."""
    read: dict[str, Any] = json.loads(SCHEMA_PATH.read_text("utf-8"))
    return read


def read_truth(path: Path) -> Mapping[str, Any]:
    """Read a truth file: UTF-8 JSON, with or without a byte order mark.

    Raises
    ------
    InputError
        One sentence that names the file, the place in it, and what is wrong there.
    """
    truth = read_json(path, InputError)
    misfit = best_match(Draft202012Validator(schema()).iter_errors(truth))
    if misfit is not None:
        raise InputError(f"{path}: {_said(misfit)}")
    for name in ("nothings", "states"):
        for number, stretch in enumerate(truth[name]):
            if stretch["end_s"] <= stretch["start_s"]:
                end_s, start_s = stretch["end_s"], stretch["start_s"]
                raise InputError(
                    f"{path}: {name}[{number}].end_s must be after start_s ({start_s:g}), "
                    f"not {end_s:g}."
                )
    checked: Mapping[str, Any] = truth
    return checked


def _said(misfit: ValidationError) -> str:
    """The place and what is wrong there, in a sentence of ours."""
    place = misfit.json_path.removeprefix("$").removeprefix(".") or "the truth"
    given, wanted = shown(misfit.instance), misfit.validator_value
    match misfit.validator:
        case "required":
            missing = ", ".join(name for name in wanted if name not in misfit.instance)
            return f"{place} needs {missing}."
        case "type":
            return f"{place} must be of type {wanted}, not {given}."
        case "const" if wanted is None:
            return f"{place} must be left out, not {given}."
        case "enum" | "const":
            known = wanted if isinstance(wanted, list) else [wanted]
            return f"{place}: {given} is none of {', '.join(map(str, known))}."
        case "minimum" | "maximum":
            bound = "least" if misfit.validator == "minimum" else "most"
            return f"{place} must be at {bound} {wanted:g}, not {given}."
        case _:
            return f"{place} does not fit: {given}."

"""Every language has the same names with the same fields, and a word for all that is said."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.datastructures import Headers

import posescore
from posescore.web.language import language_asked
from posescore.words import LANGUAGES, SOURCE, WORDS, counted, phrase, phrases, speaking, translated

ROOT = Path(posescore.__file__).parent
OTHERS = [name for name in LANGUAGES if name != SOURCE]
FIELDS = re.compile(r"\$?\{+[^{}]*\}+")


def texts_of(part: Any, place: str = "") -> Iterator[tuple[str, str]]:
    """Every text of a words file with where it stands."""
    if isinstance(part, dict):
        for name, value in part.items():
            yield from texts_of(value, f"{place}.{name}")
    elif isinstance(part, list):
        for number, value in enumerate(part):
            yield from texts_of(value, f"{place}[{number}]")
    elif isinstance(part, str):
        yield place, part


def words_of(name: str) -> dict[str, str]:
    return dict(texts_of(tomllib.loads((ROOT / f"words_{name}.toml").read_text("utf-8"))))


@pytest.mark.parametrize("name", OTHERS)
def test_both_files_have_the_same_names_and_fields(name: str) -> None:
    source, other = words_of(SOURCE), words_of(name)
    assert list(source) == list(other), "the same names in the same order"
    for place, text in source.items():
        assert set(FIELDS.findall(text)) == set(FIELDS.findall(other[place])), place
        assert other[place].strip()


def sources() -> str:
    """Everything that a phrase can come from, each string of several lines as one."""
    files = [path for end in ("py", "js", "html", "toml") for path in ROOT.rglob(f"*.{end}")]
    kept = [
        path
        for path in files
        if "vendor" not in path.parts and not path.name.startswith("phrases_")
    ]
    text = "\n".join(path.read_text("utf-8") for path in kept if "lab" not in path.parts)
    return re.sub(r"\s+", " ", re.sub(r'" *\n\s*f?"', "", text))


@pytest.mark.parametrize("name", OTHERS)
def test_phrases_keep_their_fields_and_are_all_in_use(name: str) -> None:
    said = sources()
    with speaking(name):
        for source, other in phrases().items():
            kept = {re.sub(r"'[^']*'|\"[^\"]*\"", "", field) for field in FIELDS.findall(source)}
            mine = {re.sub(r"'[^']*'|\"[^\"]*\"", "", field) for field in FIELDS.findall(other)}
            assert kept == mine, source
            known = (
                source in said or re.sub(r"^\w+ by \{author\}$", " by {{author}}", source) in said
            )
            assert known or source.removesuffix("s") in said, f"nobody says: {source}"


def test_a_request_is_answered_in_its_language() -> None:
    def asked(**headers: str) -> str:
        return language_asked(
            Headers({name.replace("_", "-"): value for name, value in headers.items()})
        )

    assert asked() == "en"
    assert asked(accept_language="pt-BR,pt;q=0.9,en;q=0.8") == "pt"
    assert asked(accept_language="de, en-GB;q=0.7, pt;q=0.5") == "en"
    assert asked(accept_language="de, pt;q=0") == "en"
    assert asked(accept_language="en", cookie="posescore-language=pt") == "pt"
    assert asked(accept_language="pt", cookie="posescore-language=tlh") == "pt"


def test_what_is_spoken_ends_with_the_request() -> None:
    with speaking("pt"):
        assert WORDS["kinds"]["sweep"]["trade"] == "raspagem"
        assert counted(2, "point") == "2 pontos"
        assert phrase("{} of {}").format(1, 2) == "1 de 2"
    assert WORDS["kinds"]["sweep"]["trade"] == "sweep"
    assert counted(2, "point") == "2 points"


def test_names_that_programs_know_are_left_alone() -> None:
    script = """{ id: "confirm", keys: ["Delete"], text: "Confirm" }
      <button @click="act('save')">Delete</button>"""
    with speaking("pt"):
        assert translated(script) == script.replace('"Confirm"', '"Confirmar"').replace(
            ">Delete<", ">Apagar<"
        )
    assert translated(script) == script

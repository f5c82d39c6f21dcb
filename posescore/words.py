"""The words for kinds, positions and checks, and all sentences, from one file for each language.

The engine, the exports and the pages take them from here; the pages get the whole file as data.
A sentence names the athletes by the fields ``{A}`` and ``{B}``, so that names are put in only
where it is shown, and nothing that merely looks like a letter is ever replaced.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache, lru_cache
from pathlib import Path
from typing import Any, Final

from posescore.terms import Athlete, Position, State

LANGUAGES: Final[Mapping[str, str]] = {"en": "en-GB", "pt": "pt-BR"}
"""Every language by its short name, with its tag (BCP 47). The first is the others' source."""
SOURCE: Final = "en"
_IN_USE: Final[ContextVar[str]] = ContextVar("language", default=SOURCE)


@cache
def _file(name: str) -> Mapping[str, Any]:
    return tomllib.loads(Path(__file__).with_name(name).read_text("utf-8"))


class _Words(Mapping[str, Any]):
    """The words file of the language in use."""

    def __getitem__(self, name: str) -> Any:
        return _file(f"words_{language()}.toml")[name]

    def __iter__(self) -> Iterator[str]:
        return iter(_file(f"words_{SOURCE}.toml"))

    def __len__(self) -> int:
        return len(_file(f"words_{SOURCE}.toml"))


WORDS: Final[Mapping[str, Any]] = _Words()
"""The file as it stands: ``kinds``, ``positions``, ``checks``, ``events`` and so on."""


def language() -> str:
    """The language in use, here and now: each request and each output has its own."""
    return _IN_USE.get()


@contextmanager
def speaking(name: str) -> Iterator[None]:
    """Use a language; one that is not known is the source."""
    token = _IN_USE.set(name if name in LANGUAGES else SOURCE)
    try:
        yield
    finally:
        _IN_USE.reset(token)


def phrases() -> Mapping[str, str]:
    """What pages and reports say beside the words file, by the English of it; empty for English."""
    if language() == SOURCE:
        return {}
    return _phrases_of(language())


@cache
def _phrases_of(name: str) -> Mapping[str, str]:
    found = _file(f"phrases_{name}.toml")
    return {**found["phrases"], **found["texts"]}


def phrase(text: str, **fields: object) -> str:
    """A sentence of ours in the language in use, with its fields filled in."""
    said = phrases().get(text, text)
    return said.format(**fields) if fields else said


def translated(source: str) -> str:
    """A template or a script with every known phrase in the language in use.

    A phrase is found between quotes, or as the text between two tags; whatever is put in (braces)
    is part of it. A single small word, and what stands under ``texts``, is taken as text alone:
    between quotes it may be a name that programs know. What is not known stays English.
    """
    return source if language() == SOURCE else _translated(source, language())


@lru_cache(maxsize=200)
def _translated(source: str, name: str) -> str:
    known, texts = _phrases_of(name), _file(f"phrases_{name}.toml")["texts"]

    def said(found: re.Match[str]) -> str:
        key = _SPACE.sub(" ", found["key"])
        is_name = found["before"][0] in _QUOTES and (_NAME.fullmatch(key) or key in texts)
        return found[0] if is_name else found["before"] + known[key]

    return _pattern(name).sub(said, source)


_SPACE: Final = re.compile(r"\s+")
_QUOTES: Final = "\"'`"
_NAME: Final = re.compile(r"[a-z_]+")


@cache
def _pattern(name: str) -> re.Pattern[str]:
    longest_first = sorted(_phrases_of(name), key=len, reverse=True)
    keys = "|".join(r"\s+".join(map(re.escape, key.split(" "))) for key in longest_first)
    return re.compile(rf"(?P<before>[>}}{_QUOTES}]\s*)(?P<key>{keys})(?=\s*[<{{{_QUOTES}])")


LETTERS: Final[Mapping[Athlete, str]] = {athlete: str(athlete) for athlete in Athlete}
"""For outputs that call the athletes A and B."""

_FIELD: Final = re.compile(r"\{([AB])\}")
_DOUBTFUL: Final = 0.7
"""A value less sure than this is hardly shown by the view. Judgement."""
_HARDLY: Final = 0.3
"""Both athletes visible in less of the time than this: what is said is what is usual. Judgement."""
_HALF: Final = 0.5


def name_field(athlete: Athlete) -> str:
    """What stands for the athlete's name in a sentence: ``{A}`` or ``{B}``."""
    return f"{{{athlete}}}"


def with_names(sentence: str, names: Mapping[Athlete, str]) -> str:
    """The sentence with names in place of its fields; whatever else stands in it is left alone."""
    return _FIELD.sub(lambda found: names[Athlete(found[1])], sentence)


def capital(text: str) -> str:
    """With a capital first letter, the rest as it is."""
    return text[:1].upper() + text[1:]


def counted(count: int, word: str, plural: str = "") -> str:
    """Say "1 point", "2 points"."""
    return f"{count} {phrase(word if count == 1 else plural or word + 's')}"


def trade(name: str) -> str:
    """A position or kind as the trade writes it; any other name with blanks."""
    known = WORDS["positions"].get(name) or WORDS["kinds"].get(name)
    return str(known["trade"]) if known else name.replace("_", " ")


def where(position: Position) -> str:
    """Where the upper athlete is: on top, or behind."""
    return str(WORDS["positions"][position].get("upper", WORDS["on_top"]))


def state_words(state: State) -> str:
    """A position and its upper athlete: ``mount, {A} on top``, ``standing``."""
    if state.upper is None:
        return trade(state.position)
    return f"{trade(state.position)}, {name_field(state.upper)} {where(state.position)}"


def sentence(name: str, **fields: object) -> str:
    """One of the engine's sentences, as the language's file has it in ``[sentences]``.

    Parameters
    ----------
    name
        What it says, in a word or three: ``took_down``. ``asks_...`` name what a rule asks,
        ``seen_...`` what was seen of it, ``finding_...`` what a person should look at.
    fields
        What is put in for ``{who}``, ``{into}`` and so on. An athlete becomes the field of the
        name, a position and a state their words; a language may leave a field out.
    """
    said = {field: _said(value) for field, value in fields.items()}
    return str(WORDS["sentences"][name].format(**said))


def _said(value: object) -> object:
    if isinstance(value, Athlete):
        return name_field(value)
    if isinstance(value, Position):
        return trade(value)
    return state_words(value) if isinstance(value, State) else value


def ordinal(count: int) -> str:
    """Say "first", "second"."""
    words = WORDS["ordinals"]
    return str(words.get(str(count)) or words["more"].format(count=count))


def check_words(name: str, value: bool | int | str) -> str:
    """What a check saw, in words."""
    return str(WORDS["checks"][name][str(value).lower()])


def how_seen(fraction: float | None, visible: float | None, probability: float) -> str:
    """How well a check was seen; "" where nobody measured that.

    Parameters
    ----------
    fraction
        Of the seen instants, those that show the value: 0 to 1.
    visible
        Of all instants, those in which both athletes were seen: 0 to 1.
    probability
        That the value is right: 0 to 1.
    """
    if fraction is None:
        return ""
    seen = WORDS["seen"]
    if visible is not None and visible < _HARDLY:
        return str(seen["usual"].format(visible=f"{visible:.0%}"))
    shown = fraction >= _HALF
    said = seen["fraction"].format(fraction=f"{fraction:.0%}") if shown else seen["otherwise"]
    return said if probability >= _DOUBTFUL else f"{said}; {seen['hardly']}"


def confidence_words(probability: float) -> str:
    """Say "fairly sure, 82 %": never 100 %, since only a person can be certain."""
    percent = min(99, max(1, round(probability * 100)))
    words = next(each["text"] for each in WORDS["confidence"] if probability >= each["from"])
    return f"{words}, {percent} %"


def clock_words(time_s: float) -> str:
    """Minutes, seconds and hundredths of footage, say ``1:07.50``: cut as on the pages."""
    hundredths = int(max(0.0, time_s) * 100 + 1e-6)
    minutes, rest = divmod(hundredths, 6000)
    return f"{minutes}:{rest // 100:02d}.{rest % 100:02d}"


def seconds_words(seconds: float) -> str:
    """Seconds as a person says them: ``2.4 seconds``, ``1 second``."""
    number = _number(seconds)
    return f"{number} {_unit(number)}"


def held_words(seconds: float) -> str:
    """The seconds that count, small whole numbers spelled out: ``three seconds``."""
    number = _number(seconds)
    return f"{WORDS['numbers'].get(number, number)} {_unit(number)}"


def _number(seconds: float) -> str:
    return f"{seconds:.1f}".removesuffix(".0")


def _unit(number: str) -> str:
    return str(WORDS["seconds"]["one" if number == "1" else "more"])

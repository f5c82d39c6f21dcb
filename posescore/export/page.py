"""Pages of one HTML file, from the templates; every value is escaped."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Final

from jinja2 import Environment, PackageLoader, StrictUndefined

from posescore import __version__
from posescore.export.score_drawing import INK, points_text
from posescore.export.sentences import tally_words
from posescore.library.store.plain import utf8
from posescore.words import (
    LANGUAGES,
    WORDS,
    clock_words,
    counted,
    language,
    phrase,
    trade,
    translated,
)

_NOT_IN_HTML: Final = re.compile(r"[\x00-\x08\x0b-\x0c\x0e-\x1f\x7f-\x9f\ufdd0-\ufdef\ufffe\uffff]")


@dataclass(frozen=True, slots=True)
class Link:
    """A link at the top of the page; ``saves`` where it is a file to keep."""

    address: str
    text: str
    saves: bool = False


class TranslatedLoader(PackageLoader):
    """Templates in the language in use."""

    def get_source(
        self, environment: Environment, template: str
    ) -> tuple[str, str, Callable[[], bool] | None]:
        """The template as it lies there, in the language in use."""
        source, path, is_newest = super().get_source(environment, template)
        return translated(source), path, is_newest


@cache
def _templates(in_use: str) -> Environment:
    made = Environment(
        loader=TranslatedLoader("posescore.export"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["corners"] = points_text
    made.globals.update(
        minutes=lambda time_s: f"{int(time_s) // 60}:{int(time_s) % 60:02d}",
        seconds=lambda length_s: f"{length_s:.1f}" if length_s else "",
        ink={str(athlete): colour for athlete, colour in INK.items()},
        clock=clock_words,
        safety=WORDS["notes"]["safety"],
        words=WORDS,
        trade=trade,
        said=phrase,
        undecided_words=lambda count: counted(count, "undecided line"),
        language_tag=LANGUAGES[in_use],
        tally_words=tally_words,
        version=__version__,
    )
    return made


def page(template: str, **values: object) -> str:
    """A page of one of the templates; every value is escaped.

    Characters that HTML does not allow, as broken file names bring them, become U+FFFD.
    """
    return _NOT_IN_HTML.sub(
        "\ufffd", utf8(_templates(language()).get_template(template).render(values))
    )

"""Names hidden together with faces: what goes to parents or a class need not say whose child it is.

An athlete's name, whole or any part of it, gives way to the letter and the gi wherever the program
writes or a person wrote it. What names somebody in another way (a nickname, the sound of the
footage, a club's name on a gi) stays: look before you share.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Final

from posescore.export.shots import Showing
from posescore.export.telling import LineText
from posescore.library.match import Match
from posescore.terms import Athlete

SHORTEST_PART: Final = 3
"""Letters: shorter parts of names are words of the language, too ("de", "da", "Bo")."""

Hide = Callable[[str], str]


def shown_match(match: Match, showing: Showing) -> tuple[Match, Hide]:
    """The match as it may be shown, and what takes the names out of any sentence."""
    if not showing.hide_faces:
        return match, lambda text: text
    info, nameless = match.info, {}
    for athlete in Athlete:
        nameless[athlete] = replace(info.athlete(athlete), name="")
    bare = replace(
        info, title="A and B", note="",
        athlete_a=nameless[Athlete.A], athlete_b=nameless[Athlete.B],
    )  # fmt: skip
    bare = replace(bare, title=" and ".join(bare.names.values()))
    return replace(match, info=bare), _hiding(match, bare.names)


def _hiding(match: Match, instead: dict[Athlete, str]) -> Hide:
    words: dict[str, str] = {}
    for athlete in Athlete:
        name = match.info.athlete(athlete).name.strip()
        parts = [part for part in name.split() if len(part) >= SHORTEST_PART]
        for word in (name, *parts):
            if word:
                words.setdefault(word.casefold(), instead[athlete])
    if not words:
        return lambda text: text
    longest_first = sorted(words, key=len, reverse=True)
    pattern = re.compile(
        rf"(?<!\w)(?:{'|'.join(map(re.escape, longest_first))})(?!\w)", re.IGNORECASE
    )
    return lambda text: pattern.sub(lambda found: words[found[0].casefold()], text)


def hidden_text(text: LineText, hide: Hide) -> LineText:
    """A line without names in what people wrote."""
    return replace(
        text,
        word=hide(text.word),
        why=hide(text.why),
        reason=hide(text.reason),
        note=hide(text.note),
    )

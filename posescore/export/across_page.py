"""An athlete across matches as one HTML page: plots for a class, each with its table beside.

Every plot says in its label what it shows, for those who hear it; on paper the two sides differ
by hatching, and lines by dashes and marks.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from statistics import mean
from typing import Any, Final

from posescore.errors import InputError
from posescore.export.across import COLUMNS, Across, across_csv, across_json, across_matches
from posescore.export.page import Link, page
from posescore.footage.atomic import write_whole
from posescore.library.library import Library
from posescore.words import capital, counted, phrase, trade

_PLOT_WIDTH: Final = 332.0
_TREND: Final = (40.0, 326.0, 12.0, 172.0)
"""Left, right, top and bottom of the trend's plane."""


def across_html(across: Across, links: Sequence[Link] = ()) -> str:
    """The page. Without links it is a file that needs nothing else."""
    return page(
        "across.html",
        heading=phrase("Across matches"),
        info={"title": across.name},
        across=across,
        links=links,
        headline=_headline(across),
        undecided=_undecided(across),
        nothing_yet=_nothing_yet(across),
        points=_points(across),
        lost=_lost(across),
        steps=_steps(across),
        seconds=_seconds(across),
        trend=_trend(across),
    )


def _headline(across: Across) -> str:
    lines = across.matches
    results = [line.result for line in lines]
    said = [f"{results.count(word)} {phrase(word)}" for word in ("won", "lost", "level", "open")]
    if _nothing_yet(across):
        return f"{counted(len(lines), 'match', 'matches')}, {phrase('none reviewed yet.')}"
    scored = f"{_per_match(line.points_for for line in lines)} {phrase('points a match for')}"
    against = f"{_per_match(line.points_against for line in lines)} {phrase('against')}"
    known = ", ".join(word for word in said if not word.startswith("0 "))
    return f"{counted(len(lines), 'match', 'matches')}: {known}. {scored}, {against}."


def _per_match(points: Iterable[int]) -> str:
    return f"{mean(points):.1f}"


def _undecided(across: Across) -> str:
    waiting = sum(line.undecided for line in across.matches)
    if not waiting:
        return ""
    return f"{counted(waiting, 'line')} {phrase('still undecided: counted nowhere on this page.')}"


def _nothing_yet(across: Across) -> bool:
    """True where no match is decided and no points are confirmed: there is nothing to draw."""
    scored = across.points_for or across.points_against
    return not scored and all(line.result == "open" for line in across.matches)


def _bars(
    what: str,
    table: Sequence[tuple[Any, ...]],
    looks: Sequence[str],
    words: Sequence[str] = ("{}", "{}"),
    said: str = "{} to {}",
) -> dict[str, Any]:
    """Rows of bars with their table and label: a bar for each number behind a row's name.

    ``looks`` are mine, theirs or frame; ``words`` stand beside the bars, ``said`` in the label.
    """
    most = max((value for _, *values in table for value in values), default=0)
    return {
        "rows": [
            {
                "text": name,
                "parts": [
                    {
                        "fraction": value / most if most else 0.0,
                        "look": look,
                        "words": word.format(value),
                    }
                    for value, look, word in zip(values, looks, words, strict=False)
                ],
            }
            for name, *values in table
        ],
        "table": table,
        "label": _label(what, ((name, said.format(*values)) for name, *values in table)),
    }


def _points(across: Across) -> dict[str, Any]:
    mine, theirs = across.points_for, across.points_against
    kinds = sorted({*mine, *theirs}, key=lambda kind: (-mine[kind] - theirs[kind], kind))
    table = [(capital(trade(kind)), mine[kind], theirs[kind]) for kind in kinds]
    return _bars(phrase("Points for and against"), table, ("mine", "theirs"))


def position_words(position: str) -> str:
    """Say "closed guard, underneath" for ``closed_guard bottom``."""
    name, _, side = position.partition(" ")
    where = {"bottom": phrase(", underneath"), "top": phrase(", on top")}.get(side, "")
    return capital(trade(name)) + where


def _lost(across: Across) -> dict[str, Any]:
    table = [(position_words(name), points) for name, points in across.lost_from.most_common()]
    return _bars(phrase("Points lost by position"), table, ("theirs",), said="{}")


def _steps(across: Across) -> dict[str, Any]:
    table = [
        (
            phrase("{step} to {next}", step=capital(trade(each["step"])), next=_next(each["to"])),
            each["made"],
            each["tried"],
        )
        for each in across.tables()["conversions"]
    ]
    words = (phrase("{} followed"), phrase("of {}"))
    return _bars(
        phrase("Steps followed by the next"), table, ("mine", "frame"), words, phrase("{} of {}")
    )


def _next(to: str) -> str:
    return f" {phrase('or')} ".join(phrase(trade(each)) for each in to.split(" or "))


def _seconds(across: Across) -> dict[str, Any]:
    kinds = {k: each for k, each in sorted(across.stabilised.items()) if each}
    most_s = max((max(each) for each in kinds.values()), default=0.0)
    step_s = next((s for s in (1, 2, 5, 10, 20, 30, 60, 120) if most_s / s <= 6), 300)
    ends_s = max(step_s, step_s * -(-most_s // step_s))

    def x(time_s: float) -> float:
        return 8 + (_PLOT_WIDTH - 16) * time_s / ends_s

    table = [(capital(trade(k)), len(each), f"{mean(each):.1f} s") for k, each in kinds.items()]
    return {
        "rows": [
            {"text": capital(trade(k)), "xs": [x(s) for s in each], "mean_x": x(mean(each))}
            for k, each in kinds.items()
        ],
        "ticks": [{"x": round(x(s), 1), "words": s} for s in range(0, int(ends_s) + 1, step_s)],
        "table": table,
        "label": _label(phrase("Mean seconds to stabilise"), ((n, words) for n, _, words in table)),
    }


def _trend(across: Across) -> dict[str, Any]:
    events = across.tables()["trend"]
    left, right, top, bottom = _TREND
    means = [(_each(event, "points_for"), _each(event, "points_against")) for event in events]
    most = max(2.0, *(max(pair) for pair in means))
    step = next((s for s in (1, 2, 5, 10, 20) if most / s <= 5), 50)

    def place(index: int, value: float) -> tuple[float, float]:
        beside = (right - left) * index / (len(events) - 1) if len(events) > 1 else 0.0
        return left + beside, bottom - (bottom - top) * value / most

    table = [
        (
            f"{number}. {_event_words(event)}",
            phrase("{} of {}").format(event["won"], event["matches"]),
            event["points_for"],
            event["points_against"],
        )
        for number, event in enumerate(events, 1)
    ]
    said = zip(table, means, strict=True)
    return {
        "mine": [place(i, mine) for i, (mine, _) in enumerate(means)],
        "theirs": [place(i, theirs) for i, (_, theirs) in enumerate(means)],
        "ticks": [
            {"y": place(0, value)[1], "words": value} for value in range(0, int(most) + 1, step)
        ],
        "marks": [{"x": place(i, 0)[0], "words": i + 1} for i in range(len(events))],
        "table": table,
        "label": _label(
            phrase("Points a match, for and against"),
            ((str(row[0]), f"{a:.1f} to {b:.1f}") for row, (a, b) in said),
        ),
    }


def _each(event: Mapping[str, Any], name: str) -> float:
    return float(event[name]) / float(event["matches"])


def _event_words(event: Mapping[str, Any]) -> str:
    known = (event["event"], event["held_on"])
    return ", ".join(str(part) for part in known if part) or phrase("no event named")


def _label(what: str, rows: Iterable[tuple[str, object]]) -> str:
    said = "; ".join(f"{name} {value}" for name, value in rows)
    return f"{what}: {said}." if said else f"{what}: {phrase('none yet.')}"


def write_across(library: Library, name: str, out: Path) -> list[Path]:
    """Write an athlete's tables: one ``.json`` file, a page with plots (``.html``), or many CSV.

    ``mira.csv`` becomes ``mira.matches.csv``, ``mira.points.csv`` and so on. Gives the files.
    """
    suffix = out.suffix.lower()
    if suffix not in (".json", ".csv", ".html") or out.is_dir():
        raise InputError(f"{out}: name a file that ends in .html, .json or .csv.")
    across = across_matches(library, name)
    if suffix == ".html":
        write_whole(out, across_html(across).encode("utf-8"))
        return [out]
    if suffix == ".json":
        write_whole(out, across_json(across).encode("utf-8"))
        return [out]
    texts = {out.with_suffix(f".{table}.csv"): across_csv(across, table) for table in COLUMNS}
    for path, text in texts.items():
        write_whole(path, text.encode("utf-8"))
    return list(texts)

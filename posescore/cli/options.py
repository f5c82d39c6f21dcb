"""What the commands share: options, and printing JSON."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from posescore.errors import InputError, StorageError

if TYPE_CHECKING:
    from posescore.library.library import Library

FILE: Final = click.Path(path_type=Path, readable=False)
"""A path; whether it can be read is said by whoever reads it, in a sentence of its own."""


class _Output(click.Path):
    """A file to write; ``-`` is standard output, as everywhere."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        return super().convert(STDOUT if str(value) == "-" else value, param, ctx)


STDOUT: Final = "/dev/stdout"
OUTPUT: Final = _Output(path_type=Path, readable=False)


def say_written(path: Path, more: str = "") -> None:
    """Say where something was written; not in the midst of it."""
    click.echo(f"{path}{more}", err=str(path) == STDOUT)


class _Folder(click.Path):
    """A folder that has a name: an unset variable would name the current one."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        if not str(value).strip():
            raise InputError("--library: names no folder; name one, or leave the option out.")
        return super().convert(value, param, ctx)


library_option = click.option(
    "--library", "library_folder", type=_Folder(path_type=Path, readable=False),
    envvar="POSESCORE_LIBRARY", help="Folder of the library.  [default: the user's data folder]",
)  # fmt: skip


match_argument = click.argument("match", metavar="MATCH")
poses_option = click.option(
    "--poses", type=FILE, envvar="POSESCORE_POSES3D", help="The open pose set (.npz)."
)
seed_option = click.option(
    "--seed", type=int, default=0, show_default=True, help="Seed of what is drawn at random."
)


def out_option(what: str) -> Callable[[Any], Any]:
    """Give a command ``--out``, which it cannot do without."""
    return click.option("--out", type=OUTPUT, required=True, help=what)


def amount_option(
    name: str, at_most: float, usual: float, what: str, variable: str | None = None
) -> Callable[[Any], Any]:
    """Give a command a number from 0 on, such as seconds or a share."""
    names = (name,) if variable is None else (name, variable)
    allowed = click.FloatRange(0, at_most)
    return click.option(*names, type=allowed, default=usual, show_default=True, help=what)


def open_library(folder: Path | None, read_only: bool = False) -> Library:
    """Open the library of a folder, or the user's; once a day a copy of it is kept."""
    from posescore.library.library import Library
    from posescore.library.store.backups import keep_copy

    library = Library(folder, read_only=read_only)
    if not library.read_only:
        try:
            keep_copy(library.path, when_due=True)
        except StorageError as error:
            click.echo(f"posescore: {error}", err=True)
    return library


def json_option(what: str) -> Callable[[Any], Any]:
    """Give a command ``--json``."""
    return click.option("--json", "as_json", is_flag=True, help=f"Print {what} as JSON.")


def print_json(data: object) -> None:
    """Print data as one line of JSON."""
    click.echo(json.dumps(data, ensure_ascii=False))


estimator_option = click.option(
    "--estimator",
    type=click.Choice(("pair-network", "mediapipe")),
    default="pair-network",
    show_default=True,
    help="What finds keypoints.",
)
"""Names as in :mod:`posescore.pose.estimators.choice`: help needs no heavy import."""

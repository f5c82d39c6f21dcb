"""The commands that keep a library: look it over, copy it, put a copy back, put it right."""

from __future__ import annotations

from pathlib import Path

import click

from posescore.cli.options import FILE, OUTPUT, library_option, print_json, say_written
from posescore.errors import StorageError


@click.group()
def library() -> None:
    """Look a library over, keep copies of it, put it right."""


@library.command()
@click.option("--quick", is_flag=True, help="Compare footage by its size, not by its hash.")
@click.option("--json", "as_json", is_flag=True, help="Print what was found as JSON.")
@library_option
def check(library_folder: Path | None, quick: bool, as_json: bool) -> None:
    """Name every damaged row and every missing or exchanged file. Changes nothing."""
    from posescore.library.checking import check_library
    from posescore.library.store.storage import library_folder as folder_of

    folder = folder_of(library_folder)
    found = list(check_library(folder, hashes=not quick))
    if as_json:
        print_json([{"what": trouble.what, "in_library": trouble.lost} for trouble in found])
    else:
        for trouble in found:
            click.echo(trouble.what if trouble.lost else f"(outside the library) {trouble.what}")
    own = sum(trouble.lost for trouble in found)
    if own:
        raise StorageError(
            f"{folder}: {own} things are not as they should be; 'posescore library restore' puts "
            "back a copy, 'posescore library repair' keeps what can be read."
        )
    if not as_json:
        click.echo(f"{folder}: every row and every file is as it should be.")


@library.command()
@click.option(
    "--out", type=OUTPUT, help="File to write.  [default: among the library's own copies]"
)
@library_option
def backup(library_folder: Path | None, out: Path | None) -> None:
    """Copy the database, while others may use it. Footage and keypoints are not copied."""
    from posescore.footage.atomic import replacing
    from posescore.library.library import Library
    from posescore.library.store.backups import copies_of, keep_copy, write_copy

    with Library(library_folder) as opened:
        path, why_not = opened.path, opened.read_only
    if out is not None:
        with replacing(out) as unfinished:
            write_copy(path, unfinished)
        say_written(out)
        return
    if why_not:
        raise StorageError(f"{why_not} Or name a file with --out.")
    kept = keep_copy(path)
    newest = next(iter(copies_of(path)), None)
    if kept is None and newest is None:
        click.echo("There is no match yet: nothing to copy.")
    else:
        click.echo(str(kept) if kept else f"Nothing changed since {newest}.")


@library.command()
@click.argument("copy", type=FILE, required=False)
@library_option
def restore(library_folder: Path | None, copy: Path | None) -> None:
    """Put back a COPY of the database (default: the newest that is whole). Nothing is lost."""
    from posescore.library.store.backups import newest_sound_copy
    from posescore.library.store.backups import restore as put_back
    from posescore.library.store.schema import FILE_NAME
    from posescore.library.store.storage import library_folder as folder_of

    path = folder_of(library_folder) / FILE_NAME
    chosen = copy or newest_sound_copy(path)
    aside = put_back(path, chosen)
    click.echo(f"{chosen} is the library now.")
    if aside is not None:
        click.echo(f"What it was before is kept: {aside}")


@library.command()
@library_option
def repair(library_folder: Path | None) -> None:
    """Keep what can be read, make again what can be made from the folders of the matches."""
    from posescore.analysis.repair import repair_library
    from posescore.library.store.storage import library_folder as folder_of

    for done in repair_library(folder_of(library_folder)):
        click.echo(done)
    click.echo("Look it over with: posescore library check")

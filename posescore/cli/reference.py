"""Every command with its options as one page: ``python -m posescore.cli.reference``.

``docs/commands.md`` is what this prints; a test holds the two together.
"""

from __future__ import annotations

from collections.abc import Iterator

import click

from posescore.cli.main import main

_INTRODUCTION = """# Commands

This page is made from the commands themselves (`python -m posescore.cli.reference`). `posescore
COMMAND --help` says the same in a terminal.

Results go to standard output, progress and messages to standard error. Exit codes: 0 done, 1
something in PoseScore failed, 2 something given is wrong or missing, 3 done but for some pictures
of a folder that could not be read, 130 stopped with Ctrl-C. What one failed sentence does not
explain, `POSESCORE_DEBUG=1` shows in full. Where a file is to be written, `-` is standard output;
pipes and devices are written into, a link stays a link."""


def page() -> str:
    """The page in Markdown."""
    return "\n".join([_INTRODUCTION, *_commands(main, ("posescore",))]) + "\n"


def _commands(group: click.Group, path: tuple[str, ...]) -> Iterator[str]:
    for name in sorted(group.commands):
        command = group.commands[name]
        if isinstance(command, click.Group):
            yield from _commands(command, (*path, name))
        else:
            yield from _command(command, (*path, name))


def _command(command: click.Command, path: tuple[str, ...]) -> Iterator[str]:
    names = main.context_settings["help_option_names"]
    context = click.Context(command, info_name=" ".join(path), help_option_names=names)
    yield f"\n## `{' '.join([*path, *command.collect_usage_pieces(context)])}`\n"
    yield "\n\n".join(" ".join(part.split()) for part in (command.help or "").split("\n\n"))
    records = [r for p in command.get_params(context) if (r := p.get_help_record(context))]
    if records:
        yield "\n| option | meaning |\n|---|---|"
        for option, meaning in records:
            yield f"| `{option}` | {' '.join(meaning.split())} |".replace("|TEXT", "\\|TEXT")


if __name__ == "__main__":
    click.echo(page(), nl=False)

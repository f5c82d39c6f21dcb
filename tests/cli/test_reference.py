"""The page of commands is what the commands say."""

from __future__ import annotations

from pathlib import Path

import click
import pytest

from posescore.cli.main import main
from posescore.cli.reference import page

PAGE = Path(__file__).parents[2] / "docs" / "commands.md"


def test_the_page_is_what_the_commands_say() -> None:
    if not PAGE.is_file():
        pytest.skip("the docs come with a checkout")
    again = "make it again: python -m posescore.cli.reference > docs/commands.md"
    assert PAGE.read_text("utf-8") == page(), again


def every_command(group: click.Group) -> list[click.Command]:
    found: list[click.Command] = []
    for command in group.commands.values():
        found += every_command(command) if isinstance(command, click.Group) else [command]
    return found


def test_every_command_and_every_option_says_what_it_is_for() -> None:
    for command in every_command(main):
        assert command.help, command.name
        for option in command.params:
            if isinstance(option, click.Option):
                assert option.help, f"{command.name} {option.name}"

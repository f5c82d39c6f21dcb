"""The commands. Thin: everything heavy is imported inside the command that needs it."""

from __future__ import annotations

import click


@click.group()
def main() -> None:
    """First-pass score logs for sport jiu-jitsu footage, for a person to confirm."""

"""Estimators by name."""

from __future__ import annotations

import pytest

from posescore.cli.options import estimator_option
from posescore.errors import InputError
from posescore.pose.estimators.choice import NAMES, USUAL, chosen_estimator


@pytest.mark.parametrize("name", NAMES)
def test_every_name_gives_an_estimator_that_says_what_it_is(name: str) -> None:
    estimator = chosen_estimator(name, of_video=True)
    estimator.close()
    others = [chosen_estimator(other, of_video=True) for other in NAMES if other != name]
    assert estimator.step not in [other.step for other in others]
    for other in others:
        other.close()


def test_the_command_offers_the_same_names() -> None:
    import click

    option = estimator_option(click.Command("any")).params[0]
    assert isinstance(option.type, click.Choice)
    assert tuple(option.type.choices) == NAMES
    assert option.default == USUAL


def test_another_name_is_one_sentence() -> None:
    with pytest.raises(InputError, match="'best' is no estimator: choose one of pair-network"):
        chosen_estimator("best")

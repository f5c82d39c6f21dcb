"""Rule sets are data: shipped ones, a person's own, and broken ones."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from posescore.errors import InputError
from posescore.holds.check import CHECKS
from posescore.holds.hold import CheckName
from posescore.scoring.rules import FOLDER, RuleSet
from posescore.terms import Position


def test_every_shipped_rule_set_loads() -> None:
    assert RuleSet.names()[0] == "sport-jiu-jitsu"
    for name in RuleSet.names():
        assert RuleSet.load(name).name == name


def test_a_rule_set_differs_by_data_alone() -> None:
    plain, strict = RuleSet.load(), RuleSet.load("sport-jiu-jitsu-strict-mount")
    changed = {
        (position, asked.check)
        for position, criteria in plain.criteria.items()
        for asked, other in zip(criteria, strict.criteria[position], strict=True)
        if asked != other
    }
    assert changed == {
        (Position.MOUNT, CheckName.KNEES_DOWN),
        (Position.BACK_MOUNT, CheckName.KNEES_DOWN),
    }
    assert plain.points == strict.points


def own(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "club.toml"
    path.write_text(text, "utf-8")
    return path


def test_a_rule_set_of_ones_own(tmp_path: Path) -> None:
    path = own(tmp_path, 'name="club"\nbased_on="sport-jiu-jitsu"\n[seconds]\nhold=5\n')
    rules = RuleSet.load(path)
    assert (rules.name, rules.seconds.hold, rules.seconds.joined_gap) == ("club", 5.0, 0.3)


def test_based_on_a_file_beside_it(tmp_path: Path) -> None:
    own(tmp_path, 'name="club"\nbased_on="sport-jiu-jitsu"\n[points]\nmount=3\n')
    second = tmp_path / "second.toml"
    second.write_text('name="second"\nbased_on="club.toml"\n')
    assert RuleSet.load(second).points["mount"] == 3  # type: ignore[index]


BROKEN = [
    ("name = ", "club.toml is not TOML"),
    ("", "club.toml: 'advantages' is missing"),
    ('based_on = 3', "club.toml: based_on must be text"),
    ('based_on = "judo"', "'judo' is not a rule set"),
    ('based_on = "club.toml"', "'based_on' leads back to itself"),
    ('based_on = "sport-jiu-jitsu"\n[points]\nmount = "four"', "points.mount must be a whole num"),
    ('based_on = "sport-jiu-jitsu"\n[points]\nmount = -1', "points.mount must be from 0"),
    ('based_on = "sport-jiu-jitsu"\n[seconds]\nhold = nan', "seconds.hold must be from 0"),
    ('based_on = "sport-jiu-jitsu"\n[criteria.mount.grip]\nmet = []', "'grip' is not a check"),
    ('based_on="sport-jiu-jitsu"\n[criteria.mount.facing]\nmet = ["sky"]', "'sky' is not a value"),
    ('based_on = "sport-jiu-jitsu"\n[criteria.montada]', "'montada' is not a position"),
    ('based_on = "sport-jiu-jitsu"\n[guard_pass]\nlands_in = ["back"]', "'back' is not a position"),
    ('based_on = "sport-jiu-jitsu"\npenalties = 3', "penalties must be a list"),
    ('based_on = "sport-jiu-jitsu"\npoints = 3', "points must be a table"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "sentence"), BROKEN)
def test_broken_rule_set_is_one_sentence(tmp_path: Path, text: str, sentence: str) -> None:
    with pytest.raises(InputError, match=sentence) as caught:
        RuleSet.load(own(tmp_path, text))
    assert "\n" not in str(caught.value)
    assert str(caught.value).endswith(".")


def test_missing_folder_and_binary(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="does not exist"):
        RuleSet.load(tmp_path / "none.toml")
    with pytest.raises(InputError, match="is a folder"):
        RuleSet.load(tmp_path)
    (tmp_path / "club.toml").write_bytes(b"\xff\xff")
    with pytest.raises(InputError, match="not UTF-8"):
        RuleSet.load(tmp_path / "club.toml")


@pytest.mark.parametrize("name", ["judo", "", "../rules", "sport jiu-jitsu"])
def test_unknown_name_lists_the_known(name: str) -> None:
    with pytest.raises(InputError, match=r"sport-jiu-jitsu|folder|exist"):
        RuleSet.load(name)


def test_no_criterion_leaves_a_value_out() -> None:
    for name in RuleSet.names():
        for position, criteria in RuleSet.load(name).criteria.items():
            for asked in criteria:
                kind, listed = CHECKS[asked.check], [*asked.met, *asked.near, *asked.neither]
                assert len(listed) == len(set(listed))
                assert set(listed) == set(kind.values)
                assert position in kind.positions
                assert kind.met in asked.met
                assert kind.unmet in (*asked.near, *asked.neither)


def test_a_rule_set_may_have_words_of_its_own(tmp_path: Path) -> None:
    text = (
        'name="club"\nbased_on="sport-jiu-jitsu"\n'
        '[criteria.back_control.hooks.seen]\n1 = "half of it"\n'
    )
    hooks, *_ = RuleSet.load(own(tmp_path, text)).criteria[Position.BACK_CONTROL]
    assert hooks.words(1) == "half of it"
    assert hooks.words(2) == "both heels are inside the opponent's thighs"


def test_no_mark_of_ours_stands_beside_a_clause() -> None:
    for name in RuleSet.names():
        rules = RuleSet.load(name)
        asked = [each.clause for criteria in rules.criteria.values() for each in criteria]
        for clause in (*rules.clauses.values(), *asked):
            assert re.fullmatch(r"[\d.]+( \(\d{4}\))?(, ([\d.]+|common practice))?", clause), clause
        assert rules.book
        numbers = {n for clause in (*rules.clauses.values(), *asked) for n in clause.split(", ")}
        assert set(rules.elsewhere) <= numbers, "a source for a clause that nobody cites"


def test_rule_sets_are_plain_data() -> None:
    assert {path.suffix for path in FOLDER.iterdir()} == {".toml"}

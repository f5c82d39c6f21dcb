"""docs/rules.md and docs/formats.md say what the rule sets and the registry of checks hold."""

from __future__ import annotations

import re
from pathlib import Path

from posescore.holds.check import CHECKS
from posescore.scoring.rules import RuleSet

DOCS = Path(__file__).parents[2] / "docs"
RULES = (DOCS / "rules.md").read_text("utf-8")
FORMATS = (DOCS / "formats.md").read_text("utf-8")


def rows(text: str) -> list[list[str]]:
    return [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in text.splitlines()
        if line.startswith("| ")
    ]


def test_every_clause_that_is_cited_has_a_row_with_its_source() -> None:
    sources = {
        number: row[2] for row in rows(RULES) if len(row) == 3
        for number in re.findall(r"\d+(?:\.\d+)*", row[1])
    }  # fmt: skip
    for name in RuleSet.names():
        rules = RuleSet.load(name)
        asked = [each.clause for criteria in rules.criteria.values() for each in criteria]
        for clause in (*rules.clauses.values(), *asked):
            for number in re.findall(r"\d+(?:\.\d+)*", clause.split(" (")[0]):
                assert number in sources, f"{number} of {clause} has no row"
                where = rules.elsewhere.get(number, "")
                assert ("another organisation" in where) is (sources[number] == "the other book")


def test_every_check_has_a_row_with_its_values() -> None:
    table = {row[0].strip("`"): row[1] for row in rows(FORMATS) if len(row) == 3}
    for name, kind in CHECKS.items():
        listed = {cell.strip().strip("`") for cell in table[name].split(",")}
        assert listed == {str(value).lower() for value in kind.values}

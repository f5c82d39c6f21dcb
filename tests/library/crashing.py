"""Run as a program: edits a match without end, saying each edit only after it was acknowledged."""

from __future__ import annotations

import sys
from pathlib import Path

from posescore.library.library import Library
from posescore.library.review.edits import AddAward
from posescore.scoring.proposal import ProposalKind
from posescore.terms import Athlete


def main() -> None:
    folder, match_id, author = Path(sys.argv[1]), int(sys.argv[2]), sys.argv[3]
    library = Library(folder)
    number = 0
    while True:
        edit = AddAward(Athlete.A, ProposalKind.SWEEP, 1.0, 2, reason=f"edit {number}")
        review = library.edit(match_id, edit, author)
        print(review.last_entry_id, number, flush=True)
        number += 1


if __name__ == "__main__":
    main()

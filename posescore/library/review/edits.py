"""Everything a person can do to a match, one frozen type per kind.

Edits name what they act on by the keys of the review they were made on
(:class:`posescore.library.review.review.Review`): a key that is no longer there means that somebody
else was faster, and the edit is refused. A new kind is one class in one of the modules below:
the log, the API's description and the words of undo read it from there.
"""

from posescore.library.review.decisions import AddAward, Change, Confirm, Dismiss, Reopen
from posescore.library.review.entries import EDITS, Edit
from posescore.library.review.hold_edits import (
    AddHold,
    Edge,
    Keep,
    Merge,
    NameStretch,
    Relabel,
    RemoveHold,
    SetCheck,
    SetEdge,
    Split,
)
from posescore.library.review.match_edits import (
    AddEvent,
    RemoveEvent,
    SetDivision,
    SetRules,
    Settle,
    SwapAthletes,
    Taken,
)
from posescore.library.review.result_edits import SetResult, SetScoreboard

__all__ = [
    "EDITS", "AddAward", "AddEvent", "AddHold", "Change", "Confirm", "Dismiss", "Edge", "Edit",
    "Keep", "Merge", "NameStretch", "Relabel", "RemoveEvent", "RemoveHold", "Reopen", "SetCheck",
    "SetDivision", "SetEdge", "SetResult", "SetRules", "SetScoreboard", "Settle", "Split",
    "SwapAthletes", "Taken",
]  # fmt: skip

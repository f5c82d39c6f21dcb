"""Matches without end, walked through the open pose set's own graph, with their truth."""

from posescore.lab.walks.graph import Graph, load_graph
from posescore.lab.walks.making import Move
from posescore.lab.walks.pass_errors import errors
from posescore.lab.walks.telling import ruling_of, truth_json
from posescore.lab.walks.views import Seen, seen
from posescore.lab.walks.walking import WalkedMatch, walk

__all__ = [
    "Graph", "Move", "Seen", "WalkedMatch", "errors", "load_graph", "ruling_of", "seen",
    "truth_json", "walk",
]  # fmt: skip

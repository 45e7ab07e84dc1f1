"""The week's steps, room by room, put together; what the shell and the papers ask by name."""

from pipelines.rooms import (
    bench,
    causes,
    decision,
    exposure,
    fuel,
    history,
    listing,
    pages,
    risk,
    score,
    sheets,
)
from pipelines.weekly.givens import GIVENS
from pipelines.weekly.step import Graph

GRAPH = Graph(
    [history, bench, fuel, exposure, risk, decision, score, sheets, causes, listing, pages], GIVENS
)

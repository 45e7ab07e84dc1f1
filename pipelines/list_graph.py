"""The week's steps as far as its list asks for them, without what makes pages."""

from pipelines.rooms import bench, decision, exposure, fuel, history, listing, risk, sheets
from pipelines.weekly.givens import GIVENS
from pipelines.weekly.step import Graph

LIST_GRAPH = Graph([history, bench, fuel, exposure, risk, decision, sheets, listing], GIVENS)

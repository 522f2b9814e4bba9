"""Exact positions of lots on one rack."""

from scheduler.racks.candidates import MOST, blocks_for, most_plugs, part_of
from scheduler.racks.greedy import Places, greedy
from scheduler.racks.place import place
from scheduler.racks.requests import Gap, Grid, RackShape, Request, Standing, check_gap

__all__ = [
    "MOST",
    "Gap",
    "Grid",
    "Places",
    "RackShape",
    "Request",
    "Standing",
    "blocks_for",
    "check_gap",
    "greedy",
    "most_plugs",
    "part_of",
    "place",
]

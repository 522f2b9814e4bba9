"""Exact positions of lots on one rack."""

from scheduler.racks.greedy import Places
from scheduler.racks.place import place
from scheduler.racks.requests import Gap, RackShape, Request, Standing, check_gap

__all__ = ["Gap", "Places", "RackShape", "Request", "Standing", "check_gap", "place"]

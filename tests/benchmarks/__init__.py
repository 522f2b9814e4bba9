"""Benchmarks: the planner, single models of the whole season and the hand rules on the same farms, through the same audit."""

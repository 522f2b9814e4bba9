"""Entities of a coral farm, units and weeks. Knows nothing of files or solvers."""

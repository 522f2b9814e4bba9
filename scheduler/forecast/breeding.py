"""A strain of which every frag becomes a mother: an age-structured population (Leslie 1945, Biometrika 33:183-212, from memory)."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from scheduler.biology.growth import MAX_LEVELS, most_pieces, size_after
from scheduler.biology.life import weekly_losses
from scheduler.farm.coral import Traits

Floats = NDArray[np.float64]


def project(matrix: ArrayLike, start: ArrayLike, steps: int) -> Floats:
    """Numbers by step and age class (steps + 1, classes): start, matrix x start, matrix^2 x start, ..."""
    square, state = np.asarray(matrix, dtype=np.float64), np.asarray(start, dtype=np.float64)
    if square.ndim != 2 or square.shape != (state.size, state.size):
        raise ValueError(f"a matrix {square.shape} for {state.size} age classes")
    found = [state]
    for _ in range(steps):
        found.append(square @ found[-1])
    return np.array(found)


def growth_rate(matrix: ArrayLike) -> float:
    """Factor by which the numbers grow in a step in the long run: the largest absolute eigenvalue."""
    return float(np.abs(np.linalg.eigvals(np.asarray(matrix, dtype=np.float64))).max())


def weeks_to_mother(traits: Traits) -> int | None:
    """Weeks from a piece to the smallest colony that can be cut, along the colony's own curve; ``None`` if it never can."""
    piece = traits.model_copy(update={"start_units": min(traits.unit_per_piece, traits.cap_units)})
    return next((w for w in range(MAX_LEVELS) if most_pieces(traits, size_after(piece, w)) > 0), None)


def breeding_matrix(traits: Traits, par_umol: float, stress_factor: float = 1.0) -> Floats:
    """Weekly Leslie matrix of a strain that only breeds mothers, at one PAR.

    Classes: weeks of age of a frag up to the first cut as a mother, then weeks since the last cut up to the rest. A mother gives
    ``min_pieces`` at each rest: the least a cut takes, so the factor is a cautious one. Mothers die as late frags do. Raises
    ``ValueError`` for a strain that can never be cut.
    """
    growing = weeks_to_mother(traits)
    if growing is None:
        raise ValueError("a colony of this strain never gets large enough to be cut")
    growing, rest = max(1, growing), traits.rest_weeks
    size = growing + rest
    matrix = np.zeros((size, size))
    for age in range(size):
        death, detach = weekly_losses(traits, age, par_umol, stress_factor)
        kept = 1 - death - (detach if age < growing else 0.0)
        last = age == size - 1
        matrix[growing if last else age + 1, age] = kept
        if age in (growing - 1, size - 1):
            matrix[0, age] = kept * traits.min_pieces
    return matrix


def doubling_weeks(traits: Traits, par_umol: float, stress_factor: float = 1.0) -> float:
    """Weeks in which a strain's numbers double if every frag is kept as a mother; infinite if they do not grow."""
    rate = growth_rate(breeding_matrix(traits, par_umol, stress_factor))
    return math.log(2) / math.log(rate) if rate > 1 else math.inf

"""The bench day: doses and preparation without a solver, and the clock times of a session."""

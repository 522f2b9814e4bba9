"""Learning from the farm's own counts, and what may be promised months ahead, with its spread."""

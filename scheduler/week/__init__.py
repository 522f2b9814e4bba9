"""The near weeks: colonies to sessions and people, lots to racks."""

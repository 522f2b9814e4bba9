"""solving."""

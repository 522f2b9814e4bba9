"""week."""

"""forecast."""

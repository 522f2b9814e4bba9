"""audit."""

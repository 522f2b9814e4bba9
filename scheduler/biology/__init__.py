"""Growth, survival and light as pure functions."""

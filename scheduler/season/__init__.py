"""The whole horizon: what pieces and waiting are worth, and the weeks after the near ones."""

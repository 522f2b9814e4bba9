"""The order of work: read, value, plan the near weeks, place, plan the later weeks, value again, audit."""

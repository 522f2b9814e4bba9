"""Random examples are drawn the same way in every run, so that a failing one is not gone the next time."""

from hypothesis import settings

settings.register_profile("repeatable", derandomize=True, deadline=None)
settings.load_profile("repeatable")

"""A farm with chance in it, week by week: what a way of working earns where growth, losses and customers are not as planned.

The truth here is its own: it shares no code with ``biology`` and knows neither planner nor audit. A way of working sees the
farm book of each week, as far as the crew can know it, and answers with a plan; its first week is carried out.
"""

from scheduler.replay.chance import Chance
from scheduler.replay.many import Job, replay_many
from scheduler.replay.run import Expectation, Forecasting, Judge, WayOfWorking, replay
from scheduler.replay.truth import Truth
from scheduler.replay.world import World

__all__ = ["Chance", "Expectation", "Forecasting", "Job", "Judge", "Truth", "WayOfWorking", "World", "replay", "replay_many"]

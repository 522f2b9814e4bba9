"""The near weeks, planned to session, person, rack and position (``planner``), and planned again where the clock asks for it (``clock``)."""

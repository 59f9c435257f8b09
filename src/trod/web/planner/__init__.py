"""The placement planner: where a placement is worked out before the walk."""

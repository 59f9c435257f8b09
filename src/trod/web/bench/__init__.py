"""The bench: where a placement is worked out before the walk."""

"""Records that were imported already identified: planned, brought in, read again from their bag, undone."""

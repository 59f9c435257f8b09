"""Keeping cameras alive: cards, locks, mishaps, cells, stock and what it all costs."""

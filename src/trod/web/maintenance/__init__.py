"""Keeping cameras alive: cards, locks, incidents, batteries, stock and what it all costs."""

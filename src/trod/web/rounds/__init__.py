"""Rounds: who is due, a round planned, taken along, and brought home."""

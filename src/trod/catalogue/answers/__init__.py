"""Rows to evidence, and questions to answers."""

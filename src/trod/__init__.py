"""Trod: from the cards of motion-triggered cameras to a verified archive, sorted sequences and honest answers."""

__version__ = "0.1.0"

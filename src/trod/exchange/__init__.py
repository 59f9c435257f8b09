"""Evidence and records in open formats, for other programs and for other people."""

from __future__ import annotations

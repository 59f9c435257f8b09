"""For people: charts, sentences, and the report on paper or as a folder of tables."""

from __future__ import annotations

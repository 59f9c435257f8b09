"""For people: charts, words for numbers, and the report on paper or as a folder of tables.

contents    what a report says, as one record for the PDF and the tables
paper       the report as a PDF
tables      the report as a folder of tables
charts      findings as Vega-Lite specs, and the same specs as SVG
sketch_map  a plain map of the sites, drawn from their coordinates alone
sentences   numbers to words for page and paper
setting     a printed sheet, set by typst from one of our own templates
target      the printed target as a PDF to scale, with how to photograph it
"""

from __future__ import annotations

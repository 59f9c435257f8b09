"""The field form: a round as one page for a phone without network, and the visits that come back from it."""

from __future__ import annotations

from trod.report.field_form.data import FieldFormCamera, FieldFormData, FieldFormStop
from trod.report.field_form.making import field_form_html
from trod.report.field_form.merging import CardPut, Conflict, KnownVisit, Merge, merge
from trod.report.field_form.reading import FieldFormReturn, read_field_form
from trod.report.field_form.visit import VisitNote

__all__ = [
    "CardPut",
    "Conflict",
    "KnownVisit",
    "Merge",
    "FieldFormCamera",
    "FieldFormData",
    "FieldFormReturn",
    "FieldFormStop",
    "VisitNote",
    "merge",
    "field_form_html",
    "read_field_form",
]

"""The field form: a round as one page for a phone without network, and the visits that come back from it."""

from __future__ import annotations

from trod.field.form.data import FieldFormCamera, FieldFormData, FieldFormStop
from trod.field.form.making import field_form_html
from trod.field.form.merging import CardPut, Conflict, KnownVisit, Merge, merge
from trod.field.form.reading import FieldFormReturn, read_field_form
from trod.field.form.visit import VisitNote

__all__ = [
    "CardPut",
    "Conflict",
    "FieldFormCamera",
    "FieldFormData",
    "FieldFormReturn",
    "FieldFormStop",
    "KnownVisit",
    "Merge",
    "VisitNote",
    "field_form_html",
    "merge",
    "read_field_form",
]

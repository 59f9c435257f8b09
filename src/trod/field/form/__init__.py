"""The field form: a round as one page for a phone without network, and the visits that come back from it.

data     what a field form is made from
making   its page: one HTML file that asks nobody for anything
bounds   what it takes: one table for its page and for the reader at home
reading  what it gives back, read and held against its format (docs/fieldform.md)
visit    a visit as it was noted on a phone
merging  visits from several phones and exports brought together
"""

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

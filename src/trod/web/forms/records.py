"""The pages on which a record is made, changed and deleted, once for all kinds.

A kind of record says in a class what it is called, where its pages stand and what a new one most likely is;
the rest, from the first look to the undo, is the same for all and stands here and in `forms.common`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Generic, TypeVar

from django.contrib import messages
from django.db import models
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.decorators import method_decorator
from django.views.decorators.http import require_http_methods

from trod.catalogue.models import Reserve
from trod.web.access import person
from trod.web.forms.common import RecordForm, delete_page, form_page, units_for

R = TypeVar("R", bound=models.Model)
get_or_post = method_decorator(require_http_methods(["GET", "POST"]))


def the_reserve() -> Reserve | None:
    """The reserve of this home."""
    return Reserve.objects.order_by("id").first()


def typist(request: HttpRequest, reserve: Reserve | None) -> dict[str, Any]:
    """What every record form is told of whoever types."""
    return {"reserve": reserve, "units": units_for(request, reserve), "person": person(request)}


class RecordPages(Generic[R]):
    """The pages of one kind of record: `edit` for a new and a kept one, `delete`.

    Both go into the addresses as they are; what an address names (`pk`, `slug`, `uuid`) is what the record is found by.

    In what is said, {row} stands for the record.
    """

    model: type[R]
    form: type[RecordForm]
    related: tuple[str, ...] = ()
    """What is fetched with it."""
    address: str
    """Its own pages are called so in the addresses, with _edit and _delete behind."""
    among: str
    """The page of all its kind, by its name in the addresses."""
    new: str
    change = "Change {row}"
    kept = "{row} is kept."
    called = "{row}"
    """The record within a sentence, such as "the camera {row}"."""
    instead = ""
    """What to do where it cannot be deleted, one sentence."""
    no_reserve = ""
    """Said before one is sent to write the reserve down first; nothing where it can do without."""
    page: Mapping[str, Any] = {}
    """More that the form's page is given: see `form_page`."""

    # What a kind may say otherwise ----------------------------------------------------------------------------

    def refused(self, request: HttpRequest) -> HttpResponse | None:
        """The answer to one who may not come here; None for everybody else."""
        return None

    def rows(self) -> QuerySet[R]:
        """All of the kind."""
        return self.model._default_manager.select_related(*self.related)

    def find(self, **keys: Any) -> R:
        """The record that an address names. Raises Http404."""
        return get_object_or_404(self.rows(), **keys)

    def start(self, request: HttpRequest, reserve: Reserve | None) -> dict[str, Any]:
        """What a new one most likely is."""
        return {}

    def arguments(self, request: HttpRequest, row: R | None, reserve: Reserve | None) -> dict[str, Any]:
        """What the form is made with."""
        start = self.start(request, reserve) if row is None else {}
        return {"instance": row, "initial": start, **typist(request, reserve)}

    def more(self, request: HttpRequest, row: R | None, form: RecordForm) -> dict[str, Any]:
        """More that the form's page is given, for this record."""
        return {}

    def page_of(self, row: R) -> str:
        """Where a record is shown: its own page, or the one of all its kind."""
        own = getattr(row, "get_absolute_url", None)
        return str(own()) if own else reverse(self.among)

    def after(self, request: HttpRequest, form: Any, kept: Any) -> str:
        """Do what follows from a kept record, and say where to go."""
        return self.page_of(kept)

    def name_of(self, row: R) -> str:
        """The record within a sentence."""
        return self.called.format(row=row)

    def back_from_delete(self, row: R, **keys: Any) -> str:
        """Where to go when it is left."""
        return self.page_of(row) if hasattr(row, "get_absolute_url") else reverse(f"{self.address}_edit", kwargs=keys)

    def after_delete(self, row: R) -> str:
        """Where to go when it is gone."""
        return reverse(self.among)

    # The pages ------------------------------------------------------------------------------------------------

    @get_or_post
    def edit(self, request: HttpRequest, **keys: Any) -> HttpResponse:
        """Make a record, or change the one that the address names."""
        if (refused := self.refused(request)) is not None:
            return refused
        row = self.find(**keys) if keys else None
        reserve = getattr(row, "reserve", None) or the_reserve()
        if reserve is None and self.no_reserve:
            messages.info(request, self.no_reserve)
            return redirect("people:reserve")
        form = self.form(request.POST or None, **self.arguments(request, row, reserve))
        return form_page(
            request,
            form,
            title=self.new if row is None else self.change.format(row=row),
            kept=self.kept,
            back=self.page_of(row) if row is not None else reverse(self.among),
            after=lambda kept: self.after(request, form, kept),
            delete_url=reverse(f"{self.address}_delete", kwargs=keys) if keys else "",
            **{**self.page, **self.more(request, row, form)},
        )

    @get_or_post
    def delete(self, request: HttpRequest, **keys: Any) -> HttpResponse:
        """Delete the record that the address names, once asked."""
        if (refused := self.refused(request)) is not None:
            return refused
        row = self.find(**keys)
        return delete_page(
            request,
            row,
            name=self.name_of(row),
            back=self.back_from_delete(row, **keys),
            after=self.after_delete(row),
            instead=self.instead,
        )

"""The Django app of the pages: templates, static files, template tags. It holds no records."""

from __future__ import annotations

from django.apps import AppConfig


class PagesConfig(AppConfig):
    name = "trod.web"
    label = "trod_pages"

    def ready(self) -> None:
        from trod.catalogue.papers.ledger import BY_MODEL
        from trod.web.seen import watch_changes

        watch_changes(BY_MODEL)

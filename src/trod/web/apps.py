"""The one Django app."""

from __future__ import annotations

from django.apps import AppConfig


class TrodConfig(AppConfig):
    name = "trod.web"
    label = "trod"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from django.db.models.signals import post_migrate

        from trod.web.models.overlap import guard_overlaps

        post_migrate.connect(guard_overlaps, sender=self, dispatch_uid="trod-guard-overlaps")

        # Every change of a record is written beside the pictures too.
        from trod.web.catalogue.ledger import BY_MODEL, watch_records

        watch_records()

        from trod.web.seen import watch_changes

        watch_changes(BY_MODEL)

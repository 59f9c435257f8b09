"""The Django app that holds the records: no pages."""

from __future__ import annotations

from django.apps import AppConfig


class TrodConfig(AppConfig):
    """The records' app; its label, trod, stands before every table's name."""

    name = "trod.catalogue"
    label = "trod"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from django.db.models.signals import post_migrate

        from trod.catalogue.models.overlap import guard_overlaps

        post_migrate.connect(guard_overlaps, sender=self, dispatch_uid="trod-guard-overlaps")

        # Every change of a record is written beside the pictures too.
        from trod.catalogue.papers.ledger import watch_records

        watch_records()

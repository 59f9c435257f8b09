"""Make Django ready inside a command, late: `from trod.web.start import ready; ready()`."""

from __future__ import annotations

import os


def ready(*, migrate: bool = True) -> None:
    """Set Django up on TROD_HOME and bring the tables up to date (quick when they are)."""
    import django

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "trod.web.settings")
    django.setup()
    if migrate:
        from django.core.management import call_command
        from django.db import connection
        from django.db.migrations.executor import MigrationExecutor

        executor = MigrationExecutor(connection)
        if executor.migration_plan(executor.loader.graph.leaf_nodes()):
            call_command("migrate", verbosity=0, interactive=False)

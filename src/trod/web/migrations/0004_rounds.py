from __future__ import annotations

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("trod", "0003_keeping")]

    operations = [
        migrations.AlterModelOptions(name="round", options={"ordering": ["-day", "-id"]}),
        migrations.AddField(
            "round",
            "wish",
            models.JSONField(
                blank=True, default=dict, help_text="what was asked for; see trod.web.catalogue.wishes"
            ),
        ),
        migrations.AddField(
            "round",
            "plan",
            models.JSONField(
                blank=True, default=dict, help_text="what was planned; see trod.web.catalogue.round_plain"
            ),
        ),
        migrations.AddField(
            "round", "made_at", models.DateTimeField(blank=True, null=True, verbose_name="planned")
        ),
        migrations.AddField("roundstop", "day", models.DateField(blank=True, null=True)),
        migrations.AddField("roundstop", "party", models.CharField(blank=True, max_length=120)),
    ]

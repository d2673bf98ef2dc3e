"""A stamp of each account; a new one ends all of its sessions."""

from django.db import migrations, models

import registry.models.ids


class Migration(migrations.Migration):
    dependencies = [
        ("registry", "0012_announcements"),
    ]

    operations = [
        migrations.AddField(
            model_name="user",
            name="session_stamp",
            field=models.CharField(
                default=registry.models.ids.random_id, editable=False, max_length=16
            ),
        ),
    ]

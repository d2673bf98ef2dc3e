"""Changes of tables and rows that would be seen if any of them stayed."""

from pathlib import Path

from django.db import migrations, models

import registry.migrations

_NEWEST = max(path.stem for path in Path(registry.migrations.__path__[0]).glob("0*.py"))


class Migration(migrations.Migration):
    dependencies = (("registry", _NEWEST),)

    operations = (
        migrations.CreateModel("Leftover", (("id", models.BigAutoField(primary_key=True)),)),
        migrations.RunSQL("UPDATE registry_owner SET full_name = 'planted'"),
        migrations.RunSQL("ALTER TABLE registry_dog ADD COLUMN planted integer"),
    )

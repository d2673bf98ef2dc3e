"""Remember when regular work last ended."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = (("registry", "0009_erased_owners"),)

    operations = (
        migrations.CreateModel(
            name="Upkeep",
            fields=[
                ("name", models.CharField(max_length=60, primary_key=True, serialize=False)),
                ("at", models.DateTimeField()),
                ("ok", models.BooleanField()),
                ("detail", models.JSONField(default=dict)),
            ],
        ),
    )

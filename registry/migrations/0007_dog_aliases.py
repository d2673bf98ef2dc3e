"""Remember what merged entries of dogs were known by."""

import django.core.validators
import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    """One table."""

    dependencies = (("registry", "0006_status_places"),)

    operations = (
        migrations.CreateModel(
            name="DogAlias",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("public_id", models.CharField(max_length=16, unique=True)),
                (
                    "chip",
                    models.CharField(
                        blank=True,
                        max_length=15,
                        null=True,
                        unique=True,
                        validators=[django.core.validators.RegexValidator("^[0-9]{15}$")],
                        verbose_name="chip number",
                    ),
                ),
                ("merged_at", models.DateTimeField(auto_now_add=True)),
                (
                    "dog",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="aliases",
                        to="registry.dog",
                    ),
                ),
            ],
            options={"verbose_name_plural": "dog aliases"},
        ),
    )

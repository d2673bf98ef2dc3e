"""Keep a pedigree's file between its dry run and its import."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import registry.models.ids


class Migration(migrations.Migration):
    """One table."""

    dependencies = (("registry", "0007_dog_aliases"),)

    operations = (
        migrations.CreateModel(
            name="PedigreeFile",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "public_id",
                    models.CharField(
                        default=registry.models.ids.random_id,
                        editable=False,
                        max_length=16,
                        unique=True,
                    ),
                ),
                ("name", models.CharField(max_length=200)),
                ("sha256", models.CharField(max_length=64)),
                ("content", models.BinaryField()),
                ("sent_at", models.DateTimeField(auto_now_add=True)),
                ("imported_at", models.DateTimeField(null=True)),
                (
                    "sent_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={"indexes": [models.Index(fields=["sent_at"], name="pedigree_file_age")]},
        ),
    )

"""Let two registrars stand behind a revocation and an approval over a stop."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import registry.models.ids


class Migration(migrations.Migration):
    dependencies = (("registry", "0010_upkeep"),)

    operations = (
        migrations.CreateModel(
            name="SecondLook",
            fields=(
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
                (
                    "deed",
                    models.CharField(
                        choices=[
                            ("accept", "approve although a check says stop"),
                            ("revoke", "revoke"),
                        ],
                        max_length=8,
                    ),
                ),
                ("reason", models.TextField()),
                ("asked_at", models.DateTimeField()),
                ("settled_at", models.DateTimeField(null=True)),
                (
                    "asked_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "evaluation",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="second_looks",
                        to="registry.evaluation",
                    ),
                ),
                (
                    "settled_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ),
            options={"ordering": ("asked_at",)},
        ),
        migrations.AddConstraint(
            model_name="secondlook",
            constraint=models.UniqueConstraint(
                condition=models.Q(settled_at__isnull=True),
                fields=("evaluation", "deed"),
                name="second_look_one_open",
            ),
        ),
    )

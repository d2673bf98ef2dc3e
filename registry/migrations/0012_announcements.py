"""Announce an examination before its result is known, and let a club ask for it."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import registry.models.ids


class Migration(migrations.Migration):
    dependencies = (("registry", "0011_second_looks"),)

    operations = (
        migrations.AddField(
            model_name="breed",
            name="requires_announcement_from",
            field=models.DateField(
                blank=True, null=True, verbose_name="examinations have to be announced from"
            ),
        ),
        migrations.CreateModel(
            name="Announcement",
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
                    "reference",
                    models.CharField(max_length=10, unique=True, verbose_name="reference"),
                ),
                ("examined_on", models.DateField(verbose_name="day of the examination")),
                ("announced_at", models.DateTimeField()),
                ("withdrawn_at", models.DateTimeField(blank=True, null=True)),
                ("reason", models.TextField(blank=True, verbose_name="reason")),
                (
                    "announced_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "clinic",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="announcements",
                        to="registry.clinic",
                    ),
                ),
                (
                    "dog",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="announcements",
                        to="registry.dog",
                    ),
                ),
                (
                    "evaluation",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="announcement",
                        to="registry.evaluation",
                    ),
                ),
            ),
            options={
                "indexes": (
                    models.Index(fields=("dog", "clinic"), name="announcement_dog_clinic"),
                ),
                "constraints": (
                    models.CheckConstraint(
                        condition=models.Q(withdrawn_at__isnull=True)
                        | models.Q(evaluation__isnull=True),
                        name="announcement_answered_or_withdrawn",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(withdrawn_at__isnull=True) | ~models.Q(reason=""),
                        name="announcement_withdrawn_with_reason",
                    ),
                ),
            },
        ),
    )

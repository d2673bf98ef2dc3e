"""Forecasts kept for litters to come, and how they turned out."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("registry", "0015_public_states"),
    ]

    operations = [
        migrations.CreateModel(
            name="ForecastCheck",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("puppies", models.PositiveIntegerField()),
                ("litters", models.PositiveIntegerField()),
                ("found", models.JSONField(default=dict)),
                ("members", models.BinaryField(default=bytes)),
                (
                    "run",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="forecast_checks",
                        to="registry.breedingrun",
                    ),
                ),
                (
                    "trait",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="registry.trait",
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        fields=("run", "trait"), name="forecast_check_one_per_trait"
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="KeptForecast",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("sire", models.CharField(max_length=16)),
                ("dam", models.CharField(max_length=16)),
                ("born_on", models.DateField()),
                ("last_dog", models.BigIntegerField()),
                ("base", models.FloatField()),
                ("mean", models.FloatField()),
                ("parent_variance", models.FloatField()),
                ("mendelian_variance", models.FloatField()),
                ("litter_variance", models.FloatField()),
                ("residual_variance", models.FloatField()),
                ("inbreeding", models.FloatField()),
                (
                    "breed",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="registry.breed",
                    ),
                ),
                (
                    "kept_in",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="kept_forecasts",
                        to="registry.breedingrun",
                    ),
                ),
                (
                    "run",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="registry.breedingrun",
                    ),
                ),
                (
                    "trait",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="registry.trait",
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        fields=("breed", "trait", "sire", "dam", "born_on"),
                        name="kept_forecast_one",
                    )
                ],
            },
        ),
    ]

"""A trait may have a published standard deviation within a dog, with its source."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("registry", "0016_kept_forecasts"),
    ]

    operations = [
        migrations.AddField(
            model_name="trait",
            name="within_dog_sd",
            field=models.DecimalField(
                blank=True,
                decimal_places=5,
                max_digits=9,
                null=True,
                verbose_name="published standard deviation within a dog",
            ),
        ),
        migrations.AddField(
            model_name="trait",
            name="within_dog_source",
            field=models.CharField(blank=True, max_length=200, verbose_name="source of it"),
        ),
        migrations.AddConstraint(
            model_name="trait",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("within_dog_sd__isnull", True), ("within_dog_source", "")),
                    models.Q(
                        ("kind", "measured"),
                        ("within_dog_sd__gt", 0),
                        models.Q(("within_dog_source", ""), _negated=True),
                    ),
                    _connector="OR",
                ),
                name="trait_within_dog_sd_has_source",
            ),
        ),
    ]

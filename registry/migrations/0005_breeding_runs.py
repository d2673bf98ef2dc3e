"""Keep breeding runs, what they found of each trait, and their columns; and a trait's priors."""

from django.db import migrations, models
from django.db.models import Q
from django.db.models.deletion import CASCADE, PROTECT


def _key() -> tuple[str, models.Field]:
    field = models.BigAutoField(
        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
    )
    return "id", field


_STATES = [
    ("waiting", "waiting"),
    ("running", "running"),
    ("done", "done"),
    ("failed", "failed"),
]
_SOURCES = [
    ("records", "estimated from the breed's own records"),
    ("prior", "taken from published figures"),
]
_METHODS = [("exact", "exact"), ("approximate", "approximate")]
_SHARES = {"blank": True, "decimal_places": 3, "max_digits": 4, "null": True}


class Migration(migrations.Migration):
    dependencies = (("registry", "0004_public_log"),)

    operations = (
        migrations.CreateModel(
            name="BreedingRun",
            fields=(
                _key(),
                ("number", models.PositiveIntegerField()),
                ("state", models.CharField(choices=_STATES, default="waiting", max_length=8)),
                ("asked_at", models.DateTimeField()),
                ("started_at", models.DateTimeField(null=True)),
                ("finished_at", models.DateTimeField(null=True)),
                ("lease_until", models.DateTimeField(null=True)),
                ("claims", models.PositiveSmallIntegerField(default=0)),
                ("ledger_seq", models.BigIntegerField(default=0)),
                ("other_breeds", models.JSONField(default=list)),
                ("inputs_sha256", models.CharField(blank=True, max_length=64)),
                ("results_sha256", models.CharField(blank=True, max_length=64)),
                ("program_version", models.CharField(blank=True, max_length=20)),
                ("dogs", models.PositiveIntegerField(default=0)),
                ("mean_inbreeding", models.FloatField(null=True)),
                ("error", models.TextField(blank=True)),
                (
                    "breed",
                    models.ForeignKey(
                        on_delete=PROTECT, related_name="breeding_runs", to="registry.breed"
                    ),
                ),
            ),
            options={
                "ordering": ("breed", "number"),
                "constraints": [
                    models.UniqueConstraint(fields=("breed", "number"), name="breeding_run_number"),
                    models.UniqueConstraint(
                        condition=Q(state__in=("waiting", "running")),
                        fields=("breed",),
                        name="breeding_run_one_open",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="TraitRun",
            fields=(
                _key(),
                ("records", models.PositiveIntegerField()),
                ("has_values", models.BooleanField()),
                ("additive", models.FloatField(null=True)),
                ("litter", models.FloatField(null=True)),
                ("residual", models.FloatField(null=True)),
                ("additive_se", models.FloatField(null=True)),
                ("litter_se", models.FloatField(null=True)),
                ("residual_se", models.FloatField(null=True)),
                ("heritability", models.FloatField(null=True)),
                ("heritability_se", models.FloatField(null=True)),
                ("genetic_correlation", models.FloatField(null=True)),
                ("variances_from", models.CharField(blank=True, choices=_SOURCES, max_length=8)),
                ("method", models.CharField(blank=True, choices=_METHODS, max_length=12)),
                ("base", models.FloatField(null=True)),
                ("middle", models.FloatField(null=True)),
                ("mean_reliability", models.FloatField(null=True)),
                ("value_sd", models.FloatField(null=True)),
                ("seconds", models.FloatField(default=0)),
                ("notes", models.JSONField(default=list)),
                ("trend", models.JSONField(default=dict)),
                (
                    "partner",
                    models.ForeignKey(
                        null=True, on_delete=PROTECT, related_name="+", to="registry.trait"
                    ),
                ),
                (
                    "run",
                    models.ForeignKey(
                        on_delete=CASCADE, related_name="traits", to="registry.breedingrun"
                    ),
                ),
                (
                    "trait",
                    models.ForeignKey(on_delete=PROTECT, related_name="+", to="registry.trait"),
                ),
            ),
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("run", "trait"), name="trait_run_one_per_trait")
                ],
            },
        ),
        migrations.CreateModel(
            name="RunColumn",
            fields=(
                _key(),
                ("name", models.CharField(max_length=20)),
                ("dtype", models.CharField(max_length=4)),
                ("packed", models.BinaryField()),
                (
                    "run",
                    models.ForeignKey(
                        on_delete=CASCADE, related_name="columns", to="registry.breedingrun"
                    ),
                ),
                (
                    "trait",
                    models.ForeignKey(
                        null=True, on_delete=PROTECT, related_name="+", to="registry.trait"
                    ),
                ),
            ),
            options={
                "constraints": [
                    models.UniqueConstraint(
                        condition=Q(trait__isnull=True),
                        fields=("run", "name"),
                        name="run_column_pedigree",
                    ),
                    models.UniqueConstraint(
                        condition=Q(trait__isnull=False),
                        fields=("run", "trait", "name"),
                        name="run_column_trait",
                    ),
                ],
            },
        ),
        migrations.AddField(
            model_name="trait",
            name="heritability_prior",
            field=models.DecimalField(verbose_name="published heritability", **_SHARES),
        ),
        migrations.AddField(
            model_name="trait",
            name="litter_share_prior",
            field=models.DecimalField(verbose_name="published share of the litter", **_SHARES),
        ),
        migrations.AddConstraint(
            model_name="trait",
            constraint=models.CheckConstraint(
                condition=Q(heritability_prior__isnull=True)
                | Q(heritability_prior__gt=0, heritability_prior__lt=1),
                name="trait_heritability_prior_is_share",
            ),
        ),
        migrations.AddConstraint(
            model_name="trait",
            constraint=models.CheckConstraint(
                condition=Q(litter_share_prior__isnull=True)
                | Q(litter_share_prior__gte=0, litter_share_prior__lt=1),
                name="trait_litter_prior_is_share",
            ),
        ),
    )

"""Keep the tiles of the public tree and the checkpoints that were signed."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = (("registry", "0003_name_search"),)

    operations = (
        migrations.CreateModel(
            name="LedgerTile",
            fields=(
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("level", models.PositiveSmallIntegerField()),
                ("index", models.BigIntegerField()),
                ("hashes", models.BinaryField()),
            ),
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("level", "index"), name="ledger_tile_place")
                ],
            },
        ),
        migrations.CreateModel(
            name="LogCheckpoint",
            fields=(
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("size", models.BigIntegerField(unique=True)),
                ("root", models.CharField(max_length=64)),
                ("note", models.TextField()),
                ("made_at", models.DateTimeField()),
                ("mailed_at", models.DateTimeField(null=True)),
            ),
            options={"ordering": ("size",)},
        ),
        # A checkpoint's mail belongs to no evaluation.
        migrations.AlterField(
            model_name="outboxmail",
            name="evaluation",
            field=models.ForeignKey(
                null=True,
                on_delete=models.deletion.PROTECT,
                to="registry.evaluation",
            ),
        ),
    )

"""Give every certificate its place in the public status lists."""

import secrets
from typing import Any

from django.db import migrations, models

_LENGTH = 131_072


def give_places(apps: Any, schema_editor: Any) -> None:
    """Random places, half of a list used at the most."""
    certificate = apps.get_model("registry", "Certificate")
    taken: set[int] = set()
    for number, pk in enumerate(certificate.objects.order_by("pk").values_list("pk", flat=True)):
        start = number // (_LENGTH // 2) * _LENGTH
        place = start + secrets.randbelow(_LENGTH)
        while place in taken:
            place = start + secrets.randbelow(_LENGTH)
        taken.add(place)
        certificate.objects.filter(pk=pk).update(status_place=place)


class Migration(migrations.Migration):
    dependencies = (("registry", "0005_breeding_runs"),)

    operations = (
        migrations.AddField(
            model_name="certificate",
            name="status_place",
            field=models.PositiveIntegerField(null=True, unique=True),
        ),
        migrations.RunPython(give_places, migrations.RunPython.noop),
        migrations.AlterField(
            model_name="certificate",
            name="status_place",
            field=models.PositiveIntegerField(unique=True),
        ),
    )

"""Remember when an owner's words were erased."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = (("registry", "0008_pedigree_files"),)

    operations = (
        migrations.AddField(
            model_name="owner",
            name="erased_at",
            field=models.DateTimeField(null=True),
        ),
    )

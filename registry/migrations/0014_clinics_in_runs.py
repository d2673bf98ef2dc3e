"""How far clinics differ, in each trait of a breeding run; traits are analysed one by one."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("registry", "0013_session_stamps"),
    ]

    operations = [
        migrations.AddField(
            model_name="traitrun", name="clinics", field=models.JSONField(default=list)
        ),
        migrations.RemoveField(model_name="traitrun", name="partner"),
        migrations.RemoveField(model_name="traitrun", name="genetic_correlation"),
    ]

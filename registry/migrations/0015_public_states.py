"""What the public may see of the counts at which moment, and a sound history of it.

The values that counted so far are given the moments at which they would have become public: a value
that is released by now when it began to count, withheld ones five or more at a time. No packed
state is written: readers sum the values until the first deed or the worker's next round.
"""

from collections import defaultdict
from datetime import datetime

import django.db.models.deletion
from django.db import migrations, models
from django.utils import timezone


def give_moments(apps, schema_editor):
    """Let each value become public singly, or with others of its breed, trait and sex."""
    values = apps.get_model("registry", "CountedValue").objects
    now = timezone.now()
    breeds = dict(apps.get_model("registry", "Breed").objects.values_list("pk", "window_months"))
    for breed_id, months in breeds.items():
        own = values.filter(breed_id=breed_id)
        for month in own.order_by().values_list("month", flat=True).distinct():
            _release(own.filter(month=month), _turn(month, months))
        strata = defaultdict(list)
        withheld = own.filter(evaluation__consent_to_publish=False).select_related("evaluation")
        for value in withheld.iterator(2_000):
            strata[value.trait_id, value.sex].append(value)
        for stratum in strata.values():
            _gather(stratum, months, now)
            values.bulk_update(
                [each for each in stratum if each.public_from],
                ["public_from", "public_until", "came_in_group", "left_in_group"],
                batch_size=200,
            )
    keys = values.order_by().values_list("breed_id", "trait_id").distinct()
    states = apps.get_model("registry", "PublicState")
    nothing = b"\x01\x01\x00\x00\x00\x00"
    long_ago = datetime(1, 1, 1).date()  # noqa: DTZ001
    states.objects.bulk_create(
        states(
            breed_id=breed, trait_id=trait, settled_month=long_ago, females=nothing, males=nothing
        )
        for breed, trait in keys
    )
    if schema_editor.connection.vendor == "postgresql":
        # A table with checks still to be made cannot be changed by the next migration.
        schema_editor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        schema_editor.execute("SET CONSTRAINTS ALL DEFERRED")


def _release(values, turn):
    released = values.filter(evaluation__consent_to_publish=True, counted_from__lt=turn)
    pks = released.values("pk")
    ended = values.filter(counted_until__isnull=False, counted_until__lt=turn)
    values.filter(pk__in=pks).update(public_from=models.F("counted_from"), public_until=turn)
    ended.filter(pk__in=pks).update(public_until=models.F("counted_until"))


def _gather(values, months, now):
    """Replay when each value began to count, stopped, or was left behind by the window."""
    coming, groups, free = [], {}, set()
    for at, is_begin, value in _events(values, months, now):
        if is_begin:
            coming.append(value)
            if _never_shown(coming) >= 5:
                for each in coming:
                    each.public_from, each.came_in_group = at, True
                groups.setdefault(at, _Group()).come(coming)
                coming = []
        elif value.public_from is None:
            coming.remove(value)
        else:
            group = groups[value.public_from]
            group.wait(value)
            free = (free - {group}) | ({group} if group.may_part() else set())
            if sum(each.waiting_never_shown for each in free) >= 5:
                for each in free:
                    each.go(at)
                free = set()


def _events(values, months, now):
    happened = []
    for value in values:
        turn = _turn(value.month, months)
        ends = min(value.counted_until or turn, turn)
        if value.counted_from < ends:
            happened += [(value.counted_from, 1, value.pk, value), (ends, 0, value.pk, value)]
    for at, is_begin, _pk, value in sorted(happened, key=lambda each: each[:3]):
        if at <= now:
            yield at, is_begin, value


class _Group:
    """Values that became public together, and which of them wait to go. They are never parted into
    fewer than five."""

    def __init__(self):
        self.never_shown, self.waiting, self.waiting_never_shown = 0, [], 0

    def come(self, values):
        self.never_shown += _never_shown(values)

    def wait(self, value):
        self.waiting.append(value)
        self.waiting_never_shown += _never_shown([value])

    def may_part(self):
        rest = self.never_shown - self.waiting_never_shown
        return rest == 0 or (rest >= 5 and self.waiting_never_shown >= 5)

    def go(self, at):
        for value in self.waiting:
            value.public_until, value.left_in_group = at, True
        self.never_shown -= self.waiting_never_shown
        self.waiting, self.waiting_never_shown = [], 0


def _never_shown(values):
    return sum(1 for value in values if not value.evaluation.consent_changed_at)


def _turn(month, months):
    """The first instant of the month in which a window of so many months has left ``month``."""
    year, index = divmod(month.year * 12 + month.month - 1 + months, 12)
    return timezone.make_aware(datetime(year, index + 1, 1))  # noqa: DTZ001


def _forget_moments(_apps, _schema_editor):
    """The columns go with the migration."""


class Migration(migrations.Migration):
    dependencies = [
        ("registry", "0014_clinics_in_runs"),
    ]

    operations = [
        migrations.CreateModel(
            name="PublicState",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("settled_month", models.DateField()),
                ("at", models.DateTimeField(null=True)),
                ("females", models.BinaryField()),
                ("males", models.BinaryField()),
                ("next_at", models.DateTimeField(null=True)),
                ("next_females", models.BinaryField(null=True)),
                ("next_males", models.BinaryField(null=True)),
            ],
        ),
        migrations.AddField(
            model_name="countedvalue",
            name="came_in_group",
            field=models.BooleanField(db_default=False, default=False),
        ),
        migrations.AddField(
            model_name="countedvalue",
            name="left_in_group",
            field=models.BooleanField(db_default=False, default=False),
        ),
        migrations.AddField(
            model_name="countedvalue",
            name="public_from",
            field=models.DateTimeField(null=True),
        ),
        migrations.AddField(
            model_name="countedvalue",
            name="public_until",
            field=models.DateTimeField(null=True),
        ),
        migrations.AddIndex(
            model_name="countedvalue",
            index=models.Index(
                condition=models.Q(("counted_until__isnull", True), ("public_from__isnull", True)),
                fields=["breed", "trait", "sex", "month"],
                name="counted_value_waits_to_come",
            ),
        ),
        migrations.AddIndex(
            model_name="countedvalue",
            index=models.Index(
                condition=models.Q(("public_from__isnull", False), ("public_until__isnull", True)),
                fields=["breed", "trait", "sex", "month"],
                name="counted_value_stays",
            ),
        ),
        migrations.AddIndex(
            model_name="countedvalue",
            index=models.Index(
                condition=models.Q(
                    ("counted_until__isnull", False),
                    ("public_from__isnull", False),
                    ("public_until__isnull", True),
                ),
                fields=["breed", "trait", "sex"],
                name="counted_value_waits_to_go",
            ),
        ),
        migrations.AddConstraint(
            model_name="countedvalue",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("public_until__isnull", True),
                    ("public_until__gte", models.F("public_from")),
                    _connector="OR",
                ),
                name="counted_value_public_interval_ordered",
            ),
        ),
        migrations.AddField(
            model_name="publicstate",
            name="breed",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, to="registry.breed"
            ),
        ),
        migrations.AddField(
            model_name="publicstate",
            name="trait",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, to="registry.trait"
            ),
        ),
        migrations.AddConstraint(
            model_name="publicstate",
            constraint=models.UniqueConstraint(fields=("breed", "trait"), name="public_state_key"),
        ),
        migrations.RunPython(give_moments, _forget_moments),
    ]

"""The tables of the registry as it began."""

from decimal import Decimal

import django.contrib.auth.models
import django.contrib.auth.validators
import django.core.validators
import django.db.models.deletion
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models

import registry.models.ids


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("auth", "0012_alter_user_first_name_max_length"),
    ]

    operations = [
        migrations.CreateModel(
            name="Clinic",
            fields=[
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
                ("name", models.CharField(max_length=120, unique=True, verbose_name="name")),
                ("town", models.CharField(blank=True, max_length=80, verbose_name="town")),
                (
                    "email",
                    models.EmailField(
                        blank=True, max_length=254, verbose_name="mail address for decisions"
                    ),
                ),
                ("is_active", models.BooleanField(default=True, verbose_name="may submit")),
            ],
            options={
                "ordering": ("name",),
            },
        ),
        migrations.CreateModel(
            name="LedgerHead",
            fields=[
                (
                    "id",
                    models.PositiveSmallIntegerField(default=1, primary_key=True, serialize=False),
                ),
                ("seq", models.BigIntegerField(default=0)),
                ("hash", models.CharField(max_length=64)),
            ],
        ),
        migrations.CreateModel(
            name="User",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("password", models.CharField(max_length=128, verbose_name="password")),
                (
                    "last_login",
                    models.DateTimeField(blank=True, null=True, verbose_name="last login"),
                ),
                (
                    "is_superuser",
                    models.BooleanField(
                        default=False,
                        help_text="Designates that this user has all permissions without explicitly assigning them.",
                        verbose_name="superuser status",
                    ),
                ),
                (
                    "username",
                    models.CharField(
                        error_messages={"unique": "A user with that username already exists."},
                        help_text="Required. 150 characters or fewer. Letters, digits and @/./+/-/_ only.",
                        max_length=150,
                        unique=True,
                        validators=[django.contrib.auth.validators.UnicodeUsernameValidator()],
                        verbose_name="username",
                    ),
                ),
                (
                    "email",
                    models.EmailField(blank=True, max_length=254, verbose_name="email address"),
                ),
                (
                    "is_staff",
                    models.BooleanField(
                        default=False,
                        help_text="Designates whether the user can log into this admin site.",
                        verbose_name="staff status",
                    ),
                ),
                (
                    "is_active",
                    models.BooleanField(
                        default=True,
                        help_text="Designates whether this user should be treated as active. Unselect this instead of deleting accounts.",
                        verbose_name="active",
                    ),
                ),
                (
                    "date_joined",
                    models.DateTimeField(
                        default=django.utils.timezone.now, verbose_name="date joined"
                    ),
                ),
                (
                    "full_name",
                    models.CharField(blank=True, max_length=120, verbose_name="full name"),
                ),
                (
                    "subject_id",
                    models.CharField(
                        default=registry.models.ids.random_id,
                        editable=False,
                        max_length=16,
                        unique=True,
                    ),
                ),
                (
                    "groups",
                    models.ManyToManyField(
                        blank=True,
                        help_text="The groups this user belongs to. A user will get all permissions granted to each of their groups.",
                        related_name="user_set",
                        related_query_name="user",
                        to="auth.group",
                        verbose_name="groups",
                    ),
                ),
                (
                    "user_permissions",
                    models.ManyToManyField(
                        blank=True,
                        help_text="Specific permissions for this user.",
                        related_name="user_set",
                        related_query_name="user",
                        to="auth.permission",
                        verbose_name="user permissions",
                    ),
                ),
            ],
            options={
                "verbose_name": "user",
                "verbose_name_plural": "users",
                "abstract": False,
            },
            managers=[
                ("objects", django.contrib.auth.models.UserManager()),
            ],
        ),
        migrations.CreateModel(
            name="Breed",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("name", models.CharField(max_length=80, unique=True, verbose_name="name")),
                ("slug", models.SlugField(max_length=80, unique=True)),
                (
                    "window_months",
                    models.PositiveSmallIntegerField(
                        default=120, verbose_name="rolling window in months"
                    ),
                ),
                ("window_history", models.JSONField(blank=True, default=list, editable=False)),
            ],
            options={
                "ordering": ("name",),
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("window_months__gte", 1)), name="breed_window_one_month"
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="Dog",
            fields=[
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
                ("name", models.CharField(max_length=120, verbose_name="registered name")),
                (
                    "call_name",
                    models.CharField(blank=True, max_length=40, verbose_name="call name"),
                ),
                (
                    "sex",
                    models.CharField(
                        choices=[("F", "female"), ("M", "male")], max_length=1, verbose_name="sex"
                    ),
                ),
                ("born_on", models.DateField(verbose_name="born on")),
                ("died_on", models.DateField(blank=True, null=True, verbose_name="died on")),
                ("colour", models.CharField(blank=True, max_length=60, verbose_name="colour")),
                (
                    "chip",
                    models.CharField(
                        blank=True,
                        max_length=15,
                        null=True,
                        unique=True,
                        validators=[django.core.validators.RegexValidator("^[0-9]{15}$")],
                        verbose_name="chip number",
                    ),
                ),
                (
                    "studbook_number",
                    models.CharField(blank=True, max_length=40, verbose_name="studbook number"),
                ),
                (
                    "is_confirmed",
                    models.BooleanField(default=True, verbose_name="confirmed by a registrar"),
                ),
                ("search_name", models.CharField(default="", editable=False, max_length=200)),
                ("created_at", models.DateTimeField(auto_now_add=True)),
                ("version", models.PositiveIntegerField(default=1)),
                (
                    "breed",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="dogs",
                        to="registry.breed",
                    ),
                ),
                (
                    "dam",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="whelped",
                        to="registry.dog",
                    ),
                ),
                (
                    "sire",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="sired",
                        to="registry.dog",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Evaluation",
            fields=[
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
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("submitted", "submitted"),
                            ("returned", "returned"),
                            ("accepted", "accepted"),
                            ("declined", "declined"),
                            ("replaced", "replaced"),
                            ("revoked", "revoked"),
                            ("withdrawn", "withdrawn"),
                        ],
                        max_length=10,
                        verbose_name="state",
                    ),
                ),
                ("examined_on", models.DateField(verbose_name="examined on")),
                ("examiner", models.CharField(max_length=120, verbose_name="examiner")),
                ("conditions", models.JSONField(default=dict, verbose_name="conditions")),
                (
                    "consent_to_publish",
                    models.BooleanField(default=False, verbose_name="owner agrees to publish"),
                ),
                ("consent_changed_at", models.DateTimeField(blank=True, null=True)),
                ("submitted_at", models.DateTimeField()),
                ("decided_at", models.DateTimeField(blank=True, null=True)),
                ("accepted_at", models.DateTimeField(blank=True, null=True)),
                ("reason", models.TextField(blank=True, verbose_name="reason")),
                (
                    "fields_to_fix",
                    models.JSONField(blank=True, default=list, verbose_name="fields to fix"),
                ),
                ("version", models.PositiveIntegerField(default=1)),
                (
                    "clinic",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="evaluations",
                        to="registry.clinic",
                    ),
                ),
                (
                    "corrects",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="corrected_by",
                        to="registry.evaluation",
                    ),
                ),
                (
                    "decided_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="decided",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "dog",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="evaluations",
                        to="registry.dog",
                    ),
                ),
                (
                    "submitted_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="submitted",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Draft",
            fields=[
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
                ("answers", models.JSONField(default=dict)),
                ("version", models.PositiveIntegerField(default=1)),
                ("created_at", models.DateTimeField(auto_now_add=True)),
                ("updated_at", models.DateTimeField(auto_now=True)),
                (
                    "clinic",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="drafts",
                        to="registry.clinic",
                    ),
                ),
                (
                    "created_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="drafts",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "dog",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        to="registry.dog",
                    ),
                ),
                (
                    "evaluation",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="drafts",
                        to="registry.evaluation",
                    ),
                ),
                (
                    "sent_as",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="sent_drafts",
                        to="registry.evaluation",
                    ),
                ),
            ],
            options={
                "ordering": ("-updated_at",),
            },
        ),
        migrations.CreateModel(
            name="Certificate",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("number", models.CharField(max_length=10, unique=True)),
                ("issued_at", models.DateTimeField()),
                ("standing", models.JSONField(default=dict)),
                (
                    "evaluation",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="certificate",
                        to="registry.evaluation",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Evidence",
            fields=[
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
                ("sha256", models.CharField(db_index=True, max_length=64)),
                ("size", models.PositiveBigIntegerField()),
                ("content_type", models.CharField(max_length=40)),
                ("original_name", models.CharField(max_length=200)),
                ("stored_name", models.CharField(max_length=40, unique=True)),
                ("uploaded_at", models.DateTimeField(auto_now_add=True)),
                (
                    "clinic",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="evidence",
                        to="registry.clinic",
                    ),
                ),
                (
                    "draft",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="evidence",
                        to="registry.draft",
                    ),
                ),
                (
                    "evaluation",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="evidence",
                        to="registry.evaluation",
                    ),
                ),
                (
                    "uploaded_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "verbose_name_plural": "evidence",
            },
        ),
        migrations.CreateModel(
            name="LedgerEntry",
            fields=[
                ("seq", models.BigIntegerField(primary_key=True, serialize=False)),
                ("at", models.DateTimeField()),
                ("action", models.CharField(max_length=32)),
                ("subject", models.CharField(max_length=40)),
                ("dog", models.CharField(blank=True, max_length=16)),
                ("actor", models.CharField(blank=True, max_length=16)),
                ("body", models.TextField()),
                ("prev_hash", models.CharField(max_length=64)),
                ("hash", models.CharField(max_length=64)),
            ],
            options={
                "verbose_name_plural": "ledger entries",
                "ordering": ("seq",),
                "indexes": [
                    models.Index(fields=["subject", "seq"], name="ledger_subject"),
                    models.Index(fields=["dog", "seq"], name="ledger_dog"),
                ],
            },
        ),
        migrations.CreateModel(
            name="LedgerText",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("field", models.CharField(max_length=60)),
                ("salt", models.CharField(max_length=32)),
                ("text", models.TextField(blank=True)),
                ("erased_at", models.DateTimeField(null=True)),
                (
                    "entry",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="texts",
                        to="registry.ledgerentry",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Membership",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "role",
                    models.CharField(
                        choices=[
                            ("clinic", "clinic staff"),
                            ("registrar", "registrar"),
                            ("secretary", "secretary"),
                        ],
                        max_length=12,
                        verbose_name="role",
                    ),
                ),
                ("started_at", models.DateTimeField(auto_now_add=True)),
                ("ended_at", models.DateTimeField(blank=True, null=True)),
                (
                    "clinic",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="memberships",
                        to="registry.clinic",
                    ),
                ),
                (
                    "user",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="memberships",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="ApiToken",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("name", models.CharField(max_length=80, verbose_name="what it is for")),
                ("digest", models.CharField(max_length=64, unique=True)),
                ("prefix", models.CharField(max_length=8)),
                ("scopes", models.JSONField(default=list)),
                ("created_at", models.DateTimeField(auto_now_add=True)),
                ("expires_at", models.DateTimeField()),
                ("last_used_at", models.DateTimeField(blank=True, null=True)),
                ("revoked_at", models.DateTimeField(blank=True, null=True)),
                (
                    "membership",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="tokens",
                        to="registry.membership",
                    ),
                ),
            ],
            options={
                "ordering": ("-created_at",),
            },
        ),
        migrations.CreateModel(
            name="OutboxMail",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("kind", models.CharField(max_length=24)),
                ("to_email", models.EmailField(max_length=254)),
                ("detail", models.JSONField(default=dict)),
                ("created_at", models.DateTimeField(auto_now_add=True)),
                ("claimed_at", models.DateTimeField(null=True)),
                ("sent_at", models.DateTimeField(null=True)),
                ("attempts", models.PositiveSmallIntegerField(default=0)),
                ("last_error", models.CharField(blank=True, max_length=200)),
                (
                    "evaluation",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, to="registry.evaluation"
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Owner",
            fields=[
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
                ("full_name", models.CharField(max_length=120, verbose_name="full name")),
                (
                    "email",
                    models.EmailField(blank=True, max_length=254, verbose_name="mail address"),
                ),
                ("created_at", models.DateTimeField(auto_now_add=True)),
                (
                    "user",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="owner_records",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
        ),
        migrations.AddField(
            model_name="evaluation",
            name="owner",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="evaluations",
                to="registry.owner",
            ),
        ),
        migrations.CreateModel(
            name="ReplayKey",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("scope", models.CharField(max_length=40)),
                ("key", models.CharField(max_length=255)),
                ("route", models.CharField(max_length=120)),
                ("body_hash", models.CharField(max_length=64)),
                ("status", models.PositiveSmallIntegerField()),
                ("answer", models.JSONField(default=dict)),
                ("created_at", models.DateTimeField(auto_now_add=True)),
            ],
            options={
                "indexes": [models.Index(fields=["created_at"], name="replay_key_age")],
                "constraints": [
                    models.UniqueConstraint(fields=("scope", "key"), name="replay_key_once")
                ],
            },
        ),
        migrations.CreateModel(
            name="Trait",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("slug", models.SlugField(max_length=40, unique=True)),
                ("name", models.CharField(max_length=80, verbose_name="name")),
                (
                    "kind",
                    models.CharField(
                        choices=[("measured", "measured"), ("graded", "graded")],
                        max_length=8,
                        verbose_name="kind",
                    ),
                ),
                ("unit", models.CharField(blank=True, max_length=12, verbose_name="unit")),
                (
                    "resolution",
                    models.DecimalField(
                        decimal_places=4,
                        default=Decimal(1),
                        max_digits=8,
                        verbose_name="resolution",
                    ),
                ),
                (
                    "lowest",
                    models.DecimalField(
                        decimal_places=4, max_digits=9, verbose_name="lowest plausible value"
                    ),
                ),
                (
                    "highest",
                    models.DecimalField(
                        decimal_places=4, max_digits=9, verbose_name="highest plausible value"
                    ),
                ),
                (
                    "is_per_side",
                    models.BooleanField(default=True, verbose_name="read on each side"),
                ),
                (
                    "better",
                    models.CharField(
                        choices=[("lower", "lower is better"), ("higher", "higher is better")],
                        max_length=6,
                        verbose_name="better end",
                    ),
                ),
                (
                    "better_word",
                    models.CharField(max_length=30, verbose_name="word for the better end"),
                ),
                (
                    "worse_word",
                    models.CharField(max_length=30, verbose_name="word for the other end"),
                ),
                ("joint", models.CharField(max_length=20, verbose_name="joint")),
                (
                    "minimum_age_days",
                    models.PositiveIntegerField(default=0, verbose_name="youngest age in days"),
                ),
                (
                    "grades",
                    models.JSONField(blank=True, default=list, verbose_name="grades, best first"),
                ),
                (
                    "guidance",
                    models.JSONField(blank=True, default=list, verbose_name="guidance points"),
                ),
                (
                    "side_difference",
                    models.DecimalField(
                        blank=True,
                        decimal_places=4,
                        max_digits=8,
                        null=True,
                        verbose_name="unusual difference of the sides",
                    ),
                ),
                (
                    "from_radius",
                    models.BooleanField(
                        default=False, verbose_name="computed from head radius and displacement"
                    ),
                ),
                (
                    "is_counted",
                    models.BooleanField(default=True, verbose_name="enters the distributions"),
                ),
                (
                    "position",
                    models.PositiveSmallIntegerField(default=0, verbose_name="order on pages"),
                ),
                (
                    "sources",
                    models.JSONField(blank=True, default=dict, verbose_name="sources of the rules"),
                ),
            ],
            options={
                "ordering": ("position", "slug"),
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("resolution__gt", 0)), name="trait_resolution_positive"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("lowest__lte", models.F("highest"))),
                        name="trait_range_ordered",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="StoredHistogram",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("sex", models.CharField(choices=[("F", "female"), ("M", "male")], max_length=1)),
                ("last_month", models.DateField()),
                ("window_months", models.PositiveSmallIntegerField()),
                ("packed", models.BinaryField()),
                ("dogs", models.PositiveIntegerField()),
                ("changed_at", models.DateTimeField()),
                (
                    "breed",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, to="registry.breed"
                    ),
                ),
                (
                    "trait",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, to="registry.trait"
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Reading",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "side",
                    models.CharField(
                        choices=[("left", "left"), ("right", "right"), ("whole", "whole dog")],
                        max_length=5,
                        verbose_name="side",
                    ),
                ),
                ("step", models.IntegerField(verbose_name="value in steps")),
                (
                    "head_radius_mm",
                    models.DecimalField(blank=True, decimal_places=2, max_digits=6, null=True),
                ),
                (
                    "displacement_mm",
                    models.DecimalField(blank=True, decimal_places=2, max_digits=6, null=True),
                ),
                (
                    "evaluation",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="readings",
                        to="registry.evaluation",
                    ),
                ),
                (
                    "trait",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="readings",
                        to="registry.trait",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Flag",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("code", models.CharField(max_length=24)),
                (
                    "level",
                    models.CharField(choices=[("look", "look"), ("stop", "stop")], max_length=4),
                ),
                (
                    "side",
                    models.CharField(
                        blank=True,
                        choices=[("left", "left"), ("right", "right"), ("whole", "whole dog")],
                        max_length=5,
                    ),
                ),
                ("detail", models.JSONField(default=dict)),
                (
                    "evaluation",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="flags",
                        to="registry.evaluation",
                    ),
                ),
                (
                    "trait",
                    models.ForeignKey(
                        null=True, on_delete=django.db.models.deletion.PROTECT, to="registry.trait"
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="DistributionCell",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("sex", models.CharField(choices=[("F", "female"), ("M", "male")], max_length=1)),
                ("month", models.DateField()),
                ("step", models.IntegerField()),
                ("dogs", models.IntegerField()),
                (
                    "breed",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, to="registry.breed"
                    ),
                ),
                (
                    "trait",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, to="registry.trait"
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="CountedValue",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("sex", models.CharField(choices=[("F", "female"), ("M", "male")], max_length=1)),
                ("month", models.DateField()),
                ("step", models.IntegerField()),
                ("counted_from", models.DateTimeField()),
                ("counted_until", models.DateTimeField(null=True)),
                (
                    "breed",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, to="registry.breed"
                    ),
                ),
                (
                    "dog",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="counted_values",
                        to="registry.dog",
                    ),
                ),
                (
                    "evaluation",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="counted_values",
                        to="registry.evaluation",
                    ),
                ),
                (
                    "trait",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, to="registry.trait"
                    ),
                ),
            ],
        ),
        migrations.AddIndex(
            model_name="dog",
            index=models.Index(fields=["dam", "born_on"], name="dog_litter"),
        ),
        migrations.AddIndex(
            model_name="dog",
            index=models.Index(fields=["studbook_number"], name="dog_studbook"),
        ),
        migrations.AddConstraint(
            model_name="dog",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("died_on__isnull", True),
                    ("died_on__gte", models.F("born_on")),
                    _connector="OR",
                ),
                name="dog_dies_after_birth",
            ),
        ),
        migrations.AddConstraint(
            model_name="ledgertext",
            constraint=models.UniqueConstraint(
                fields=("entry", "field"), name="ledger_text_one_per_field"
            ),
        ),
        migrations.AddConstraint(
            model_name="membership",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("clinic__isnull", False), ("role", "clinic")),
                    models.Q(models.Q(("role", "clinic"), _negated=True), ("clinic__isnull", True)),
                    _connector="OR",
                ),
                name="membership_clinic_role_names_its_clinic",
            ),
        ),
        migrations.AddConstraint(
            model_name="membership",
            constraint=models.UniqueConstraint(
                condition=models.Q(("clinic__isnull", False), ("ended_at__isnull", True)),
                fields=("user", "clinic"),
                name="membership_one_unended_per_clinic",
            ),
        ),
        migrations.AddConstraint(
            model_name="membership",
            constraint=models.UniqueConstraint(
                condition=models.Q(("clinic__isnull", True), ("ended_at__isnull", True)),
                fields=("user", "role"),
                name="membership_one_unended_per_role",
            ),
        ),
        migrations.AddIndex(
            model_name="outboxmail",
            index=models.Index(
                condition=models.Q(("sent_at__isnull", True)),
                fields=["created_at"],
                name="outbox_waiting",
            ),
        ),
        migrations.AddIndex(
            model_name="evaluation",
            index=models.Index(fields=["state", "submitted_at"], name="evaluation_queue"),
        ),
        migrations.AddIndex(
            model_name="evaluation",
            index=models.Index(fields=["clinic", "state"], name="evaluation_clinic"),
        ),
        migrations.AddIndex(
            model_name="evaluation",
            index=models.Index(fields=["dog", "state"], name="evaluation_dog"),
        ),
        migrations.AddConstraint(
            model_name="evaluation",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("accepted_at__isnull", False),
                    models.Q(("state__in", ("accepted", "replaced", "revoked")), _negated=True),
                    _connector="OR",
                ),
                name="evaluation_accepted_has_instant",
            ),
        ),
        migrations.AddConstraint(
            model_name="storedhistogram",
            constraint=models.UniqueConstraint(
                fields=("breed", "trait", "sex"), name="stored_histogram_key"
            ),
        ),
        migrations.AddConstraint(
            model_name="reading",
            constraint=models.UniqueConstraint(
                fields=("evaluation", "trait", "side"), name="reading_one_per_trait_and_side"
            ),
        ),
        migrations.AddIndex(
            model_name="flag",
            index=models.Index(fields=["code"], name="flag_code"),
        ),
        migrations.AddConstraint(
            model_name="distributioncell",
            constraint=models.UniqueConstraint(
                fields=("breed", "trait", "sex", "month", "step"), name="distribution_cell_key"
            ),
        ),
        migrations.AddConstraint(
            model_name="distributioncell",
            constraint=models.CheckConstraint(
                condition=models.Q(("dogs__gte", 0)), name="distribution_cell_not_negative"
            ),
        ),
        migrations.AddIndex(
            model_name="countedvalue",
            index=models.Index(
                fields=["breed", "trait", "counted_from"], name="counted_value_as_of"
            ),
        ),
        migrations.AddConstraint(
            model_name="countedvalue",
            constraint=models.UniqueConstraint(
                condition=models.Q(("counted_until__isnull", True)),
                fields=("dog", "trait"),
                name="counted_value_one_per_dog_and_trait",
            ),
        ),
        migrations.AddConstraint(
            model_name="countedvalue",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("counted_until__isnull", True),
                    ("counted_until__gte", models.F("counted_from")),
                    _connector="OR",
                ),
                name="counted_value_interval_ordered",
            ),
        ),
    ]

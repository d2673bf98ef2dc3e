"""Which tables an archive holds, and which it leaves out and why. A test holds both lists against
the program's models, so that a new model has to be decided on."""

from __future__ import annotations

from typing import Any

from django.apps import apps
from django.db.models import Model

# In the order they are written. Foreign keys are checked at the end of the transaction, so the
# order carries no meaning when they are put back.
KEPT = (
    "registry.User",
    "mfa.Authenticator",
    "registry.Clinic",
    "registry.Membership",
    "registry.ApiToken",
    "registry.Owner",
    "registry.Trait",
    "registry.Breed",
    "registry.Dog",
    "registry.DogAlias",
    "registry.PedigreeFile",
    "registry.Evaluation",
    "registry.Reading",
    "registry.Flag",
    "registry.Draft",
    "registry.Evidence",
    "registry.SecondLook",
    "registry.Announcement",
    "registry.Certificate",
    "registry.CountedValue",
    "registry.DistributionCell",
    "registry.StoredHistogram",
    "registry.PublicState",
    "registry.BreedingRun",
    "registry.TraitRun",
    "registry.RunColumn",
    "registry.KeptForecast",
    "registry.ForecastCheck",
    "registry.OutboxMail",
    "registry.ReplayKey",
    "registry.LedgerEntry",
    "registry.LedgerText",
    "registry.LedgerHead",
    "registry.LedgerTile",
    "registry.LogCheckpoint",
)

LEFT_OUT = {
    "usersessions.UserSession": "where people are signed in at the moment",
    "account.EmailAddress": "not used; a person's address stands in their account",
    "account.EmailConfirmation": "not used; a person's address stands in their account",
    "sessions.Session": "who is signed in at the moment; everybody signs in again",
    "django_tasks_database.DBTaskResult": "work that waits; the worker asks for it anew",
    "registry.Upkeep": "when regular work last ended on this machine",
    "contenttypes.ContentType": "made by the migrations",
    "auth.Permission": "made by the migrations; roles are memberships",
    "auth.Group": "not used; roles are memberships",
    "auth.Group_permissions": "not used; roles are memberships",
    "registry.User_groups": "not used; roles are memberships",
    "registry.User_user_permissions": "not used; roles are memberships",
}


def kept_models() -> list[type[Model]]:
    """The models of an archive, in its order; a model of the registry that neither list knows comes
    last, so that nothing is lost before somebody has decided."""
    known = {model._meta.label for model in apps.get_app_config("registry").get_models()}
    undecided = sorted(known - set(KEPT) - LEFT_OUT.keys())
    return [apps.get_model(label) for label in (*KEPT, *undecided)]


def all_labels() -> set[str]:
    """Every model of the program, those that Django makes for many-to-many fields included."""
    return {model._meta.label for model in apps.get_models(include_auto_created=True)}


def columns_of(model: type[Model]) -> list[Any]:
    """The model's stored fields, sorted by the name under which an archive holds them."""
    return sorted(model._meta.concrete_fields, key=lambda field: str(field.attname))


def member_of(model: type[Model]) -> str:
    """The archive's file with the rows of the model."""
    return f"rows/{model._meta.model_name}.jsonl"

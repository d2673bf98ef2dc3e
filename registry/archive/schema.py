"""Which tables an archive has: those of this program, or those of the migrations at which it, or
the database it comes from, stands. Tables of former migrations are read and written by the models
that the migrations themselves describe."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder
from django.db.models import Model

from registry.archive.inventory import KEPT, LEFT_OUT, kept_models, member_of

_KEPT_APPS = tuple(dict.fromkeys(label.split(".")[0] for label in KEPT))


class UnknownSchemaError(Exception):
    """Migrations that this program does not know; ``names`` are theirs."""

    def __init__(self, names: list[str]) -> None:
        super().__init__(", ".join(names))
        self.names = names


@dataclass(frozen=True, slots=True)
class Schema:
    """The newest migration of each app with kept tables, and the models of these tables."""

    migrations: Mapping[str, str]
    models: tuple[type[Model], ...]
    is_todays: bool

    def model(self, label: str) -> Any:
        """The model of that name as it was then; None when there was none."""
        return next((model for model in self.models if model._meta.label == label), None)


def todays_schema() -> Schema:
    """The tables of this program."""
    loader = MigrationLoader(None)
    return _schema(loader, _newest(loader, None), LEFT_OUT)


def schema_of_database() -> Schema:
    """The tables that this database has now; raises UnknownSchemaError."""
    loader = MigrationLoader(None)
    applied = set(MigrationRecorder(connection).applied_migrations())
    ours = {(app, name) for app, name in applied if app in _KEPT_APPS}
    if unknown := ours - loader.graph.nodes.keys():
        raise UnknownSchemaError(sorted(name for _app, name in unknown))
    return _schema(loader, _newest(loader, ours), LEFT_OUT)


def schema_of_archive(facts: Mapping[str, Any], members: Iterable[str]) -> Schema:
    """The tables that an archive's manifest speaks of; raises UnknownSchemaError.

    Archives of the first versions name the registry's own migration only.
    """
    loader = MigrationLoader(None)
    stated: Mapping[str, str] = facts.get("migrations") or {"registry": facts["migration"]}
    if unknown := sorted(set(stated.items()) - loader.graph.nodes.keys()):
        raise UnknownSchemaError([name for _app, name in unknown])
    found = _schema(loader, stated, facts["left_out"])
    there = set(members)
    # Whether tables of other programs' apps were kept then is for the archive to say.
    models = tuple(
        model
        for model in found.models
        if model._meta.app_label == "registry" or member_of(model) in there
    )
    return Schema(found.migrations, models, found.is_todays)


def _schema(
    loader: MigrationLoader, migrations: Mapping[str, str], left_out: Mapping[str, str]
) -> Schema:
    if migrations == _newest(loader, None):
        return Schema(migrations, tuple(kept_models()), is_todays=True)
    nodes = list(migrations.items())
    then = loader.project_state(nodes).apps
    places = {label: place for place, label in enumerate(KEPT)}
    models = [
        model
        for model in then.get_models()
        if model._meta.app_label in migrations and model._meta.label not in left_out
    ]
    models.sort(key=lambda model: (places.get(model._meta.label, len(KEPT)), model._meta.label))
    return Schema(migrations, tuple(models), is_todays=False)


def _newest(loader: MigrationLoader, among: set[tuple[str, str]] | None) -> dict[str, str]:
    """The last migration of each app with kept tables, of all or of those that were applied."""
    newest = {}
    for app in _KEPT_APPS:
        (leaf,) = loader.graph.leaf_nodes(app)
        line = [node for node in loader.graph.forwards_plan(leaf) if node[0] == app]
        done = [name for _app, name in line if among is None or (app, name) in among]
        if done:
            newest[app] = done[-1]
    return newest

"""A row's own instants, of the registry's clock."""

from __future__ import annotations

from typing import Any

from django.db import models

from registry import clock


class ClockedField(models.DateTimeField):  # type: ignore[type-arg]
    """A ``DateTimeField`` whose ``auto_now`` and ``auto_now_add`` ask ``registry.clock``.

    To migrations and archives it is Django's own.
    """

    def pre_save(self, model_instance: models.Model, add: bool) -> Any:
        """The value that is stored."""
        if not (self.auto_now or (self.auto_now_add and add)):
            return super().pre_save(model_instance, add)
        value = clock.now()
        setattr(model_instance, self.attname, value)
        return value

    def deconstruct(self) -> Any:
        """What a migration states of the field."""
        name, _path, args, kwargs = super().deconstruct()
        return name, "django.db.models.DateTimeField", args, kwargs

"""Strict, typed readers of environment variables.

A value comes from `NAME`, or from the file that `NAME_FILE` points to (how
container platforms hand over secrets). Unknown words, empty required values
and both forms at once are refused, so that a slip of the keyboard stops the
start and never quietly weakens the site. Which variables exist is said in
`registry.settings`; nothing here knows Django's settings.
"""

import os
from collections.abc import Mapping
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured

_TRUE = frozenset({"1", "true", "yes", "on"})
_FALSE = frozenset({"0", "false", "no", "off"})


class Environment:
    """Readers over one mapping of variables, by default the process's own."""

    def __init__(self, variables: Mapping[str, str] | None = None) -> None:
        self._variables = os.environ if variables is None else variables

    def _raw(self, name: str) -> str | None:
        """Return the text of NAME or of the file NAME_FILE, or None when neither is set."""
        value = self._variables.get(name)
        file_name = self._variables.get(f"{name}_FILE")
        if value is not None and file_name is not None:
            raise ImproperlyConfigured(f"Set either {name} or {name}_FILE, not both.")
        if file_name is None:
            return value
        try:
            return Path(file_name).read_text(encoding="utf-8").rstrip("\r\n")
        except (OSError, UnicodeDecodeError) as error:
            raise ImproperlyConfigured(
                f"{name}_FILE: cannot read {file_name!r} ({error.__class__.__name__})."
            ) from error

    def text(self, name: str, default: str | None = None) -> str:
        """Return the text; without a default the variable is required and may not be empty."""
        value = self.optional_text(name)
        if value is not None:
            return value
        if default is not None:
            return default
        raise ImproperlyConfigured(f"{name} (or {name}_FILE) must be set.")

    def optional_text(self, name: str) -> str | None:
        """Return the text, or None when the variable is missing or empty."""
        return self._raw(name) or None

    def flag(self, name: str, default: bool) -> bool:
        """Return a yes/no value; any other word than 1/0, true/false, yes/no, on/off is refused."""
        value = self._raw(name)
        if value is None or value == "":
            return default
        word = value.strip().lower()
        if word in _TRUE:
            return True
        if word in _FALSE:
            return False
        raise ImproperlyConfigured(f"{name} must be yes or no, not {value!r}.")

    def whole(self, name: str, default: int, *, least: int, most: int) -> int:
        """Return a whole number within [least, most]."""
        value = self._raw(name)
        if value is None or value == "":
            return default
        try:
            number = int(value.strip(), 10)
        except ValueError as error:
            raise ImproperlyConfigured(f"{name} must be a whole number, not {value!r}.") from error
        if not least <= number <= most:
            raise ImproperlyConfigured(f"{name} must lie between {least} and {most}, not {number}.")
        return number

    def words(self, name: str, default: tuple[str, ...] = ()) -> list[str]:
        """Return a comma-separated list, without empty items."""
        value = self._raw(name)
        if value is None:
            return list(default)
        return [word for word in (part.strip() for part in value.split(",")) if word]

    def choice(self, name: str, default: str, *, among: tuple[str, ...]) -> str:
        """Return one of the words in `among`."""
        value = self._raw(name)
        if value is None or value == "":
            return default
        word = value.strip()
        if word not in among:
            raise ImproperlyConfigured(f"{name} must be one of {', '.join(among)}, not {value!r}.")
        return word

    def path(self, name: str, default: Path) -> Path:
        """Return an absolute path; a relative one would follow the caller's folder."""
        value = self._raw(name)
        if value is None or value == "":
            return default
        path = Path(value)
        if not path.is_absolute():
            raise ImproperlyConfigured(f"{name} must be an absolute path, not {value!r}.")
        return path

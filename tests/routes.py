"""Every route of the address book, as a list that tests go through.

Read from the URLconf itself, so that a route added tomorrow is among them.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.urls import URLPattern, URLResolver, get_resolver
from django.urls.resolvers import RoutePattern

# A value each converter accepts and that names nothing: the answer is an honest 404.
_SAMPLES = {
    "str": "nothing",
    "slug": "nothing",
    "int": "1",
    "path": "nothing",
    "uuid": "00000000-0000-4000-8000-000000000000",
}


@dataclass(frozen=True)
class Route:
    """One pattern: its namespaced name, its path with sample arguments, its view, and the names of
    its arguments."""

    name: str
    path: str
    view: Any
    arguments: tuple[str, ...] = ()

    @property
    def namespace(self) -> str:
        """The outermost namespace: buyer, clinic, registrar, secretary, or empty."""
        return self.name.split(":")[0] if ":" in self.name else ""

    def __str__(self) -> str:
        return f"{self.name or '-'} {self.path}"


def all_routes() -> list[Route]:
    """Return every route that can answer, in the order of the address book."""
    return list(_below(get_resolver(), "/", ""))


def _below(
    resolver: URLResolver, prefix: str, names: str, above: tuple[str, ...] = ()
) -> Iterator[Route]:
    """Yield the routes of one resolver and of those it includes."""
    for pattern in resolver.url_patterns:
        path = prefix + _sample(pattern)
        arguments = (*above, *pattern.pattern.converters)
        if isinstance(pattern, URLResolver):
            inner = f"{names}{pattern.namespace}:" if pattern.namespace else names
            yield from _below(pattern, path, inner, arguments)
        else:
            yield Route(f"{names}{pattern.name or ''}", path, pattern.callback, arguments)


def _sample(pattern: URLPattern | URLResolver) -> str:
    """Return the pattern's own part of the path, its arguments filled in."""
    inner = pattern.pattern
    if not isinstance(inner, RoutePattern):
        raise TypeError(f"{inner}: routes are written with path(), so that they can be listed")
    text = str(inner._route)  # type: ignore[attr-defined]
    for name, converter in inner.converters.items():
        kind = _kind(converter)
        sample = getattr(converter, "sample", None) or _SAMPLES[kind]
        for written in (f"<{kind}:{name}>", f"<{name}>"):
            text = text.replace(written, sample)
    if "<" in text:
        raise AssertionError(f"no sample value for {text}")
    return text


def _kind(converter: Any) -> str:
    """Return the name under which a converter is registered."""
    from django.urls.converters import get_converters  # noqa: PLC0415

    for name, registered in get_converters().items():
        if registered is converter or type(registered) is type(converter):
            return name
    raise AssertionError(f"{converter} is not registered")

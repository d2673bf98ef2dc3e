"""The site as plain files, for when the club no longer runs a server: printed codes keep answering.

Each page is asked of the site itself, as a reader would, and written as ``<path>/index.html``: any
plain file server answers ``/C/<number>`` with it, most by way of ``/C/<number>/``. Addresses stay
as they were printed, so the files belong at the root of the same host.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

from django.conf import settings
from django.contrib.staticfiles import finders
from django.core.handlers.base import BaseHandler
from django.http import HttpResponse
from django.test import RequestFactory
from django.utils import timezone
from django.utils.translation import gettext as _

from registry.archive.containers import sync_folder
from registry.archive.frozen_page import frozen, static_of_style
from registry.archive.snapshot import snapshot
from registry.callers import OWN
from registry.credential.certificate import PURPOSES
from registry.credential.context import VERSIONS, VOCABULARY, path_of
from registry.credential.status_list import LENGTH
from registry.models import Breed, Certificate, Dog, DogAlias, Trait
from registry.wording import dates


@dataclass(slots=True)
class Farewell:
    """What was written: paths of pages and files, and how many certificates answer."""

    pages: set[str] = field(default_factory=set)
    files: set[str] = field(default_factory=set)
    certificates: int = 0


class FarewellProblemError(Exception):
    """A page that must be there could not be made."""


def write_farewell(folder: Path) -> Farewell:
    """Write the site into a new folder; it appears there whole or not at all."""
    folder.parent.mkdir(parents=True, exist_ok=True)
    part = folder.with_name(f".{folder.name}.part")
    shutil.rmtree(part, ignore_errors=True)
    part.mkdir()
    try:
        with snapshot():
            done = _Writer(part).write()
        part.rename(folder)
    finally:
        shutil.rmtree(part, ignore_errors=True)
    sync_folder(folder.parent)
    return done


class _Writer:
    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._handler = BaseHandler()
        self._handler.load_middleware()
        self._requests = RequestFactory()
        self._done = Farewell()
        self._static: set[str] = set()
        self._notice = _("Frozen on %(day)s. What came later is not shown here.") % {
            "day": dates.day(timezone.localdate())
        }
        self._by_address = _(
            "To look up a certificate, type its address: %(site)s/C/ and its number, without"
            " spaces or dashes."
        ) % {"site": settings.SITE_URL}
        # Known before the first page is written, as pages link to each other.
        self._pages = {"/", *_pages()}

    def write(self) -> Farewell:
        """Ask for every file and every page, and write what comes back."""
        for path in _files():
            answer = self._answer(path)
            if answer is not None:
                self._write(path.lstrip("/"), answer.content)
                self._done.files.add(path)
        for path in sorted(self._pages):
            answer = self._answer(path)
            if answer is None:
                raise FarewellProblemError(f"The page {path} does not answer.")
            self._write_page(path, answer.content.decode())
        for old, new in DogAlias.objects.values_list("public_id", "dog__public_id"):
            self._write_moved(f"/dogs/{old}/", f"/dogs/{new}/")
        self._write_static()
        self._write("404.html", self._not_found().encode())
        return self._done

    def _answer(self, path: str) -> HttpResponse | None:
        """What the site answers; None for what it does not show. Any other answer ends it, so that
        nothing is left out unseen."""
        host = urlsplit(settings.SITE_URL).netloc
        request = self._requests.get(path, secure=True, headers={"host": host})
        request.META[OWN] = "yes"
        answer = self._handler.get_response(request)
        if answer.status_code == 404:
            return None
        if answer.status_code != 200 or not isinstance(answer, HttpResponse):
            raise FarewellProblemError(f"{path} was answered with {answer.status_code}.")
        return answer

    def _write_page(self, path: str, page: str) -> None:
        text, static = frozen(
            page,
            notice=self._notice,
            leads_somewhere=self._leads_somewhere,
            instead_of_form=self._by_address if path == "/" else "",
        )
        self._static |= static
        self._write(f"{path.strip('/')}/index.html".lstrip("/"), text.encode())
        self._done.pages.add(path)
        self._done.certificates += path.startswith("/C/")

    def _write_moved(self, old: str, new: str) -> None:
        """A page that leads on, for addresses of entries that were merged."""
        text = (
            f'<!doctype html>\n<meta charset="utf-8">\n'
            f'<meta http-equiv="refresh" content="0; url={new}">\n'
            f'<title>{new}</title>\n<p><a href="{new}">{new}</a></p>\n<p>{self._notice}</p>\n'
        )
        self._write(f"{old.strip('/')}/index.html", text.encode())
        self._done.pages.add(old)

    def _not_found(self) -> str:
        """What hosts show for an address that is not there, where they know of such a page."""
        return (
            '<!doctype html>\n<html lang="en">\n<meta charset="utf-8">\n'
            f"<title>{_('Not found')}</title>\n<h1>{_('There is no such page')}</h1>\n"
            f'<p>{_("Check the number, letter by letter.")} <a href="/">{_("All breeds")}</a></p>\n'
            f"<p>{self._notice}</p>\n</html>\n"
        )

    def _leads_somewhere(self, href: str) -> bool:
        """Whether a link has an end: a place on the page, another host, or what is written."""
        parts = urlsplit(href)
        is_elsewhere = bool(parts.scheme or parts.netloc)
        return is_elsewhere or not parts.path or parts.path in self._pages | self._done.files

    def _write_static(self) -> None:
        waiting, written = set(self._static), set[str]()
        while waiting:
            name = waiting.pop()
            data = _static_file(name)
            if data is None:
                raise FarewellProblemError(
                    f"The file {name} is missing: manage.py collectstatic makes it."
                )
            self._write(f"static/{name}", data)
            written.add(name)
            if name.endswith(".css"):
                waiting |= static_of_style(data.decode(), name) - written

    def _write(self, name: str, data: bytes) -> None:
        path = self._folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)


def _pages() -> Iterator[str]:
    """Every page that stays."""
    yield from ("/breeds/", "/help/", "/privacy/", "/log/", VOCABULARY)
    counted = list(Trait.objects.filter(is_counted=True).values_list("slug", flat=True))
    for breed in Breed.objects.values_list("slug", flat=True):
        yield f"/breeds/{breed}/"
        yield from (f"/breeds/{breed}/{trait}/" for trait in counted)
    for public_id in Dog.objects.values_list("public_id", flat=True).iterator():
        yield f"/dogs/{public_id}/"
    for number in Certificate.objects.values_list("number", flat=True).iterator():
        yield f"/C/{number}"


def _files() -> Iterator[str]:
    """Every file that stays, where the site shows it: an unreleased result has none."""
    yield from ("/issuer", "/log/checkpoint", *map(path_of, VERSIONS))
    counted = list(Trait.objects.filter(is_counted=True).values_list("slug", flat=True))
    for breed in Breed.objects.values_list("slug", flat=True):
        for trait in counted:
            yield from (f"/breeds/{breed}/{trait}/cells.{kind}" for kind in ("csv", "json"))
    blocks = {place // LENGTH for place in _places()}
    for purpose in PURPOSES:
        yield from (f"/status/{purpose}/{block}" for block in sorted(blocks))
    for number in Certificate.objects.values_list("number", flat=True).iterator():
        yield from (f"/C/{number}.json", f"/C/{number}.pdf", f"/C/{number}/code.svg")


def _places() -> Iterator[int]:
    yield from Certificate.objects.values_list("status_place", flat=True).iterator()


def _static_file(name: str) -> bytes | None:
    """A static file as collected, or, on a trial, where it comes from."""
    collected = Path(settings.STATIC_ROOT) / name
    if collected.is_file():
        return collected.read_bytes()
    found = finders.find(name)
    return Path(found).read_bytes() if isinstance(found, str) else None

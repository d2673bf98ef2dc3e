"""How often one network may ask the public pages for what costs the registry work.

A search, a paper, a forecast, a comparison with a chip or a certificate number that is not there
takes from a budget that fills up again by and by; pages of a certificate that is there, which
printed codes lead to, take nothing and are always answered. The count lies in the memory of each
worker, so that asking writes nothing: neither an address, nor to a disk that may be full. Each
worker gives its share.
"""

from __future__ import annotations

import time
from collections import OrderedDict
from collections.abc import Callable
from functools import wraps
from math import ceil
from threading import Lock
from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.utils.translation import ngettext

from registry.callers import OWN, network_of
from registry.science.microchip import END_LENGTH

View = Callable[..., HttpResponseBase]

_HOUR = 3600
# Two thirds may be asked in one go; the rest comes back in the course of an hour.
_AT_ONCE = 2 / 3
_MOST_NETWORKS = 20_000
_FEW_SECONDS = 100


class TooOftenError(Exception):
    """This network has asked enough; ``seconds`` until it may ask again."""

    def __init__(self, seconds: int) -> None:
        super().__init__(f"{seconds} seconds to wait")
        self.seconds = seconds


class Budget:
    """At the most ``an_hour`` asks of one network in any hour; safe among threads.

    The networks that asked longest ago are forgotten first. ``clock`` gives seconds.
    """

    def __init__(self, an_hour: float, clock: Callable[[], float] = time.monotonic) -> None:
        self._full = max(1, an_hour * _AT_ONCE)
        self._a_second = an_hour * (1 - _AT_ONCE) / _HOUR
        self._clock = clock
        self._left: OrderedDict[str, tuple[float, float]] = OrderedDict()
        self._lock = Lock()

    def take(self, network: str) -> None:
        """Count one ask; raises TooOftenError when nothing is left."""
        with self._lock:
            now = self._clock()
            left, since = self._left.pop(network, (self._full, now))
            left = min(self._full, left + (now - since) * self._a_second)
            may_ask = left >= 1
            self._left[network] = (left - may_ask, now)
            if len(self._left) > _MOST_NETWORKS:
                self._left.popitem(last=False)
        if not may_ask:
            raise TooOftenError(ceil((1 - left) / self._a_second))

    def clear(self) -> None:
        """Forget everybody."""
        with self._lock:
            self._left.clear()


BUDGET = Budget(settings.ASKS_AN_HOUR / settings.WORKERS)
# Whole chip numbers that end alike, of all networks together: who knows the last six digits and
# the country has a million numbers to try for one dog.
CHIPS_AN_HOUR = 60
CHIP_BUDGET = Budget(CHIPS_AN_HOUR / settings.WORKERS)


def count(request: HttpRequest) -> None:
    """Count one ask of the request's network; raises TooOftenError. The registry's own ones are
    free."""
    if OWN in request.META:
        return
    BUDGET.take(network_of(request))


def count_chip(request: HttpRequest, digits: str) -> None:
    """Count one ask about a chip; a whole number also counts for all that end like it."""
    count(request)
    if OWN not in request.META and len(digits) > END_LENGTH:
        CHIP_BUDGET.take(digits[-END_LENGTH:])


def counted(view: View) -> View:
    """A view of which every look is counted."""

    @wraps(view)
    def wrapped(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        count(request)
        return view(request, *args, **kwargs)

    return wrapped


def too_often(request: HttpRequest, problem: TooOftenError) -> HttpResponseBase:
    """The page that says how long to wait."""
    context = {"wait": _wait_words(problem.seconds)}
    response = render(request, "buyer/too_often.html", context, status=429)
    response["Retry-After"] = str(problem.seconds)
    return response


def _wait_words(seconds: int) -> str:
    if seconds < _FEW_SECONDS:
        return ngettext("%(n)d second", "%(n)d seconds", seconds) % {"n": seconds}
    minutes = ceil(seconds / 60)
    return ngettext("%(n)d minute", "%(n)d minutes", minutes) % {"n": minutes}

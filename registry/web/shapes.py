"""Line drawings and words of the states: a word and a shape, never colour alone.

Paths are drawn in a 16 x 16 square with a stroke of the text's colour and no fill. Which shape
stands for what is decided here and nowhere else.
"""

from __future__ import annotations

from typing import NamedTuple

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

_RING = "M8 1.8a6.2 6.2 0 1 0 0 12.4A6.2 6.2 0 0 0 8 1.8z"
_OCTAGON = "M5.4 1.8h5.2l3.6 3.6v5.2l-3.6 3.6H5.4l-3.6-3.6V5.4z"
_TRIANGLE = "M8 1.8 14.6 14H1.4z"

SHAPES: dict[str, str] = {
    "ring": _RING,
    "ring-tick": f"{_RING}M5 8.3l2.2 2.2 4-4.6",
    "ring-half": f"{_RING}M8 1.8v12.4M8 5h5M8 8h6M8 11h5",
    "ring-dot": f"{_RING}M8 7.2v.02M8 7.2v3.6M8 4.9v.02",
    "ring-bar": f"{_RING}M5 8h6",
    "tick": "M2.5 8.5l3.7 3.8 7.3-8.3",
    "cross": "M3.5 3.5l9 9m0-9l-9 9",
    "dash": "M3.5 8h9",
    "octagon-cross": f"{_OCTAGON}M5.6 5.6l4.8 4.8m0-4.8l-4.8 4.8",
    "octagon-bar": f"{_OCTAGON}M4.8 8h6.4",
    "triangle": f"{_TRIANGLE}M8 6.3v3.6M8 11.9v.02",
    "sheets": "M2 5h7.5v9H2zM6 5V2h8v9H9.5M12 6.5h.01",
    "envelope": "M1.8 3.6h12.4v8.8H1.8zM1.8 4l6.2 4.9L14.2 4",
    "diamond-query": (
        "M8 .9 15.1 8 8 15.1.9 8zM6.3 6.3a1.8 1.8 0 1 1 2.6 1.7c-.7.35-.9.7-.9 1.35M8 11.4v.02"
    ),
    "two-rings": (
        "M5.4 3.9a4.1 4.1 0 1 0 0 8.2 4.1 4.1 0 0 0 0-8.2z"
        "M10.6 3.9a4.1 4.1 0 1 1 0 8.2 4.1 4.1 0 0 1 0-8.2z"
    ),
    "arrow-back": "M5.8 2.8 2.2 6.4 5.8 10M2.2 6.4h7.5a3.6 3.6 0 0 1 0 7.2H6.5",
    "back": "M7 3.2 2.2 8 7 12.8M2.2 8h11.6",
    "arrow-left": "M12.5 3v10L3.5 8z",
}


class StateLook(NamedTuple):
    """``tone`` is a class of site.css: "" , "soft" or "alarm"."""

    word: str | Promise
    shape: str
    tone: str = ""


STATES: dict[str, StateLook] = {
    # evaluations, as registry.models State
    "submitted": StateLook(_("Submitted"), "ring"),
    "returned": StateLook(_("Returned"), "arrow-back", "alarm"),
    "accepted": StateLook(_("Accepted"), "ring-tick"),
    "declined": StateLook(_("Declined"), "octagon-bar", "alarm"),
    "replaced": StateLook(_("Replaced"), "sheets"),
    "revoked": StateLook(_("Revoked"), "octagon-cross", "alarm"),
    "withdrawn": StateLook(_("Withdrawn"), "arrow-left", "soft"),
    # tasks of a task list
    "cannot-start": StateLook(_("Cannot start yet"), "dash", "soft"),
    "not-started": StateLook(_("Not started"), "ring"),
    "in-progress": StateLook(_("In progress"), "ring-half"),
    "completed": StateLook(_("Completed"), "tick"),
    "problem": StateLook(_("There is a problem"), "triangle", "alarm"),
    # automatic checks
    "passed": StateLook(_("Passed"), "tick"),
    "look": StateLook(_("Look"), "triangle"),
    "stop": StateLook(_("Stop"), "octagon-bar", "alarm"),
    # what a buyer reads about a dog's results
    "current": StateLook(_("Current"), "ring-tick"),
    "not-released": StateLook(_("Examined, result not released"), "envelope"),
    "announced": StateLook(_("Examination announced"), "ring"),
    "called-off": StateLook(_("Announcement withdrawn"), "arrow-left", "soft"),
    "with-club": StateLook(_("Result with the club"), "ring-half"),
    "not-accepted": StateLook(_("Result not accepted by the club"), "dash", "soft"),
    "not-tested": StateLook(_("Not tested or not released"), "dash", "soft"),
    # accounts, tokens, mails
    "active": StateLook(_("Active"), "ring-tick"),
    "ended": StateLook(_("Ended"), "arrow-left", "soft"),
    "waiting": StateLook(_("Waiting"), "ring"),
    "sent": StateLook(_("Sent"), "tick"),
    "failed": StateLook(_("Failed"), "triangle", "alarm"),
}

NOTICES: dict[str, tuple[str | Promise, str]] = {
    "info": (_("Please note"), "ring-dot"),
    "success": (pgettext_lazy("notice", "Done"), "tick"),
    "warning": (_("Take care"), "triangle"),
    "error": (_("There is a problem"), "octagon-bar"),
}

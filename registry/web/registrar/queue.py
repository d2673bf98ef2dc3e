"""The queue: a filtered list, and the approval of several results without a flag at once."""

from __future__ import annotations

from urllib.parse import urlencode

from django import forms
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET, require_http_methods

from registry.desk import decide
from registry.desk.actor import Actor
from registry.desk.errors import Invalid
from registry.desk.ties import ties_of
from registry.models import Breed, Clinic, Evaluation, State
from registry.queries.flag_words import FLAG_NAMES
from registry.queries.queue import QueueFilter, filtered, queue_page, row_of
from registry.queries.second_looks import open_looks
from registry.web.deeds import done_from
from registry.web.forms import PlainForm, set_choices
from registry.web.registrar.frame import framed, registrar_page


class FilterForm(PlainForm):
    """The filter panel; its choices stand in the address."""

    q = forms.CharField(label=gettext_lazy("Dog, chip or reference"), required=False, max_length=80)
    state = forms.ChoiceField(label=gettext_lazy("State"), choices=State.choices, required=False)
    flag = forms.ChoiceField(label=gettext_lazy("Flag"), required=False)
    clinic = forms.ChoiceField(label=gettext_lazy("Clinic"), required=False)
    breed = forms.ChoiceField(label=gettext_lazy("Breed"), required=False)
    late = forms.BooleanField(
        label=gettext_lazy("Only those waiting longer than usual"),
        required=False,
        widget=forms.CheckboxInput(attrs={"value": "yes"}),
    )

    def __init__(self, asked: QueueFilter) -> None:
        super().__init__(
            initial={
                "q": asked.text,
                "state": asked.state,
                "flag": asked.flag,
                "clinic": asked.clinic,
                "breed": asked.breed,
                "late": asked.late,
            },
            auto_id="filter-%s",
        )
        flags = [("none", _("no flag")), ("any", _("any flag")), *FLAG_NAMES.items()]
        clinics = Clinic.objects.values_list("public_id", "name")
        breeds = Breed.objects.values_list("slug", "name")
        for name, choices in (("flag", flags), ("clinic", clinics), ("breed", breeds)):
            set_choices(self, name, [("", _("all")), *choices])


@require_GET
@registrar_page
def waiting(request: HttpRequest, by: Actor) -> HttpResponseBase:
    """The list, oldest first; the filter is in the address and covers the whole list."""
    asked = QueueFilter.from_query(request.GET.dict())
    number = request.GET.get("page", "1")
    queue = queue_page(asked, number=int(number) if number.isdecimal() else 1)
    query = _query(asked)
    is_waiting = asked.state == State.SUBMITTED
    tied = ties_of(by, [row.evaluation.pk for row in queue.rows] if is_waiting else [])
    context = framed(
        {"submitted": "waiting"}.get(asked.state, asked.state),
        form=FilterForm(asked),
        queue=queue,
        tied=tied,
        asked=asked,
        title=_title(asked.state),
        chosen=_chosen(asked),
        clear=reverse("registrar:queue") + _as_address({"state": query.get("state", "")}),
        kept=urlencode(query) + "&" if query else "",
        may_select=is_waiting
        and any(row.is_clean and row.evaluation.pk not in tied for row in queue.rows),
        most=decide.MOST_AT_ONCE,
        looks=open_looks(),
        problems=[],
    )
    return render(request, "registrar/queue.html", context)


@require_http_methods(["GET", "POST"])
@registrar_page
@done_from("registrar:queue")
def confirm_together(request: HttpRequest, by: Actor) -> HttpResponseBase:
    """Show each chosen result once more before they are approved together."""
    chosen = request.POST.getlist("chosen")
    if not chosen or len(chosen) > decide.MOST_AT_ONCE:
        message = (
            _("Choose at least one result: tick the box before it.")
            if not chosen
            else _("Choose at most %(most)d results at a time.") % {"most": decide.MOST_AT_ONCE}
        )
        return _with_problem(request, by, message)
    found = filtered(QueueFilter()).filter(public_id__in=chosen)
    today = timezone.localdate()
    rows = [row_of(evaluation, today) for evaluation in found]
    tied = ties_of(by, [row.evaluation.pk for row in rows])
    context = framed(
        "waiting",
        rows=[row for row in rows if row.is_clean and row.evaluation.pk not in tied],
        left=[row for row in rows if not row.is_clean and row.evaluation.pk not in tied],
        tied=[row for row in rows if row.evaluation.pk in tied],
        gone=len(set(chosen)) - len(rows),
    )
    return render(request, "registrar/approve_together.html", context)


@require_http_methods(["GET", "POST"])
@registrar_page
@done_from("registrar:queue")
def approve_together(request: HttpRequest, by: Actor) -> HttpResponseBase:
    """Approve each in a transaction of its own and say what became of every one."""
    try:
        outcomes = decide.accept_many(by=by, evaluation_ids=request.POST.getlist("chosen"))
    except Invalid as error:
        return _with_problem(request, by, str(error))
    evaluations = {
        evaluation.public_id: evaluation
        for evaluation in Evaluation.objects.select_related("dog").filter(
            public_id__in=[outcome.evaluation_id for outcome in outcomes]
        )
    }
    lines = [
        (evaluations[outcome.evaluation_id], outcome)
        for outcome in outcomes
        if outcome.evaluation_id in evaluations
    ]
    approved = sum(1 for _evaluation, outcome in lines if outcome.certificate)
    context = framed("waiting", lines=lines, approved=approved, left=len(lines) - approved)
    return render(request, "registrar/approved_together.html", context)


def _with_problem(request: HttpRequest, by: Actor, message: str) -> HttpResponseBase:
    asked = QueueFilter()
    queue = queue_page(asked)
    context = framed(
        "waiting",
        form=FilterForm(asked),
        queue=queue,
        tied=ties_of(by, [row.evaluation.pk for row in queue.rows]),
        asked=asked,
        title=_title(asked.state),
        chosen=[],
        clear=reverse("registrar:queue"),
        kept="",
        may_select=True,
        most=decide.MOST_AT_ONCE,
        looks=[],
        problems=[("#queue", message)],
    )
    return render(request, "registrar/queue.html", context, status=422)


def _title(state: str) -> str:
    if state == State.SUBMITTED:
        return _("Results that wait for you")
    return _("Results: %(state)s") % {"state": State(state).label}


def _query(asked: QueueFilter) -> dict[str, str]:
    """The parameters of the address that say what is asked for, without empty ones."""
    state = "" if asked.state == State.SUBMITTED else str(asked.state)
    late = "yes" if asked.late else ""
    given = {
        "q": asked.text,
        "state": state,
        "flag": asked.flag,
        "clinic": asked.clinic,
        "breed": asked.breed,
        "late": late,
    }
    return {name: value for name, value in given.items() if value}


def _chosen(asked: QueueFilter) -> list[tuple[str, str]]:
    """Each chosen filter in words, with the address of the list without it."""
    clinic = Clinic.objects.filter(public_id=asked.clinic).first()
    breed = Breed.objects.filter(slug=asked.breed).first()
    flags = {"none": _("no flag"), "any": _("any flag"), **FLAG_NAMES}
    words = {
        "q": _("“%(text)s”") % {"text": asked.text},
        "flag": str(flags.get(asked.flag, "")),
        "clinic": clinic.name if clinic else _("unknown clinic"),
        "breed": breed.name if breed else _("unknown breed"),
        "late": _("waiting longer than usual"),
    }
    query = _query(asked)
    there = reverse("registrar:queue")
    return [
        (
            words[name],
            there + _as_address({other: query[other] for other in query if other != name}),
        )
        for name in query
        if name != "state"
    ]


def _as_address(query: dict[str, str]) -> str:
    given = {name: value for name, value in query.items() if value}
    return "?" + urlencode(given) if given else ""

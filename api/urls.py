"""The addresses of the interface, all below ``/api/v1/``; what is none of them gets a problem."""

from django.urls import URLPattern, path, register_converter
from django.urls.converters import StringConverter

from api.views import (
    about,
    announcements,
    breeding,
    breeding_runs,
    decisions,
    dogs,
    evaluations,
    evidence,
    log,
    mates,
    pedigree,
    public,
)


class IdConverter(StringConverter):
    """A public id: short and plain, so that no path can be longer than a column."""

    regex = "[0-9a-z]{1,40}"
    sample = "nothing"


class NumberConverter(StringConverter):
    """A certificate number as people write it."""

    regex = "[0-9A-Za-z-]{1,20}"
    sample = "NOTHING"


class AnythingConverter(StringConverter):
    """The rest of any path; Django's own ``path`` stops at a line break."""

    regex = r"[\s\S]+"
    sample = "nothing"


register_converter(IdConverter, "public_id")
register_converter(NumberConverter, "certificate_number")
register_converter(AnythingConverter, "anything")

_EVALUATION = "v1/evaluations/<public_id:public_id>"
_DOG = "v1/dogs/<public_id:public_id>"

app_name = "api"
urlpatterns: list[URLPattern] = [
    path("v1/schema", about.Document.as_view(), name="schema"),
    path("v1/docs", about.docs, name="docs"),
    path("v1/me", dogs.Me.as_view(), name="me"),
    path("v1/breeds", public.Breeds.as_view(), name="breeds"),
    path("v1/traits", public.Traits.as_view(), name="traits"),
    path(
        "v1/distributions/<slug:breed>/<slug:trait>",
        public.DistributionOf.as_view(),
        name="distribution",
    ),
    path(
        "v1/certificates/<certificate_number:number>.pdf",
        public.CertificatePdf.as_view(),
        name="certificate-pdf",
    ),
    path(
        "v1/certificates/<certificate_number:number>/credential",
        public.Credential.as_view(),
        name="credential",
    ),
    path(
        "v1/certificates/<certificate_number:number>",
        public.Certificate.as_view(),
        name="certificate",
    ),
    path(f"{_DOG}/breeding-values", breeding.BreedingValues.as_view(), name="breeding-values"),
    path(f"{_DOG}/mates", mates.Mates.as_view(), name="mates"),
    path("v1/kinships", breeding.Kinship.as_view(), name="kinship"),
    path("v1/forecasts", breeding.Forecasts.as_view(), name="forecasts"),
    path("v1/trends/<slug:breed>/<slug:trait>", breeding_runs.Trend.as_view(), name="trend"),
    path(
        "v1/breeds/<slug:breed>/breeding-runs", breeding_runs.Runs.as_view(), name="breeding-runs"
    ),
    path(
        "v1/breeds/<slug:breed>/breeding-runs/<int:number>",
        breeding_runs.OneRun.as_view(),
        name="breeding-run",
    ),
    path(
        "v1/breeds/<slug:breed>/forecast-outcomes",
        breeding_runs.ForecastOutcomes.as_view(),
        name="forecast-outcomes",
    ),
    path("v1/log", log.Log.as_view(), name="log"),
    path("v1/log/inclusion", log.Inclusion.as_view(), name="inclusion"),
    path("v1/log/consistency", log.Consistency.as_view(), name="consistency"),
    path("v1/dogs", dogs.Dogs.as_view(), name="dogs"),
    path(_DOG, dogs.OneDog.as_view(), name="dog"),
    path(f"{_DOG}/confirmation", dogs.Confirmation.as_view(), name="confirmation"),
    path(f"{_DOG}/pedigree", pedigree.Pedigree.as_view(), name="pedigree"),
    path(f"{_DOG}/merge", pedigree.Merge.as_view(), name="merge"),
    path(f"{_DOG}/history", dogs.DogHistory.as_view(), name="dog-history"),
    path("v1/announcements", announcements.Announcements.as_view(), name="announcements"),
    path(
        "v1/announcements/<public_id:public_id>/withdrawal",
        announcements.AnnouncementWithdrawal.as_view(),
        name="announcement-withdrawal",
    ),
    path("v1/evaluations", evaluations.Evaluations.as_view(), name="evaluations"),
    path(_EVALUATION, evaluations.OneEvaluation.as_view(), name="evaluation"),
    path(f"{_EVALUATION}/answers", evaluations.AnswersOf.as_view(), name="answers"),
    path(f"{_EVALUATION}/withdrawal", evaluations.Withdrawal.as_view(), name="withdrawal"),
    path(f"{_EVALUATION}/history", evaluations.History.as_view(), name="evaluation-history"),
    path(f"{_EVALUATION}/decision", decisions.Decision.as_view(), name="decision"),
    path(f"{_EVALUATION}/revocation", decisions.Revocation.as_view(), name="revocation"),
    path(f"{_EVALUATION}/replacement", decisions.Replacement.as_view(), name="replacement"),
    path("v1/acceptances", decisions.Acceptances.as_view(), name="acceptances"),
    path("v1/queue", decisions.Queue.as_view(), name="queue"),
    path("v1/evidence", evidence.SendEvidence.as_view(), name="evidence"),
    path("v1/evidence/<public_id:public_id>", evidence.OneEvidence.as_view(), name="file"),
    path(
        "v1/evidence/<public_id:public_id>/content",
        evidence.EvidenceContent.as_view(),
        name="file-content",
    ),
    path("", about.Nothing.as_view(), name="nothing-here"),
    path("<anything:rest>", about.Nothing.as_view(), name="nothing"),
]

"""The health answer for load balancers and container platforms. It tells no data and no version."""

from django.contrib.auth.decorators import login_not_required
from django.db import DatabaseError, connection
from django.http import HttpRequest, HttpResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

_TEXT = "text/plain; charset=utf-8"


@login_not_required
@require_safe
@never_cache
def healthz(request: HttpRequest) -> HttpResponse:
    """Answer `ok` when the database answers, else 503."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
            cursor.fetchone()
    except DatabaseError:
        return HttpResponse("the database does not answer\n", _TEXT, status=503)
    return HttpResponse("ok\n", _TEXT)

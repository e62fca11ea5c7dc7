"""Whether this server can do its work, for monitors, containers and `serve` itself."""

from django.db import Error, connection
from django.http import HttpRequest, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe


@require_safe
@never_cache
def health(request: HttpRequest) -> JsonResponse:
    """200 when the database answers, else 503; tells nothing that a passer-by should not know."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
            cursor.fetchone()
    except Error:
        return JsonResponse({"status": "the database does not answer"}, status=503)
    return JsonResponse({"status": "ok"})

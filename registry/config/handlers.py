"""What is answered where no address fits: a problem document to programs, a page to people."""

from django.http import HttpRequest, HttpResponse

from api import problems as documents
from registry.pages import problems as pages


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Nobody serves this address."""
    if request.path.startswith("/api/"):
        return documents.not_found(request, exception)
    return pages.not_found(request)

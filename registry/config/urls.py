"""The address table of an installation."""

from django.urls import include, path

urlpatterns = [path("api/v1/", include("api.urls")), path("", include("registry.pages.urls"))]
handler400 = "api.problems.bad_request"
handler404 = "registry.config.handlers.not_found"
handler500 = "api.problems.fault"

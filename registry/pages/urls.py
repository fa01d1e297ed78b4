"""Addresses of the pages."""

from django.urls import path

from registry.pages import acting, mail_links, sign_in, style, views

urlpatterns = [
    path("", views.home, name="page-home"),
    path("alerts/", views.alerts, name="page-alerts"),
    path("alerts/<int:alert_id>/", views.alert, name="page-alert"),
    path("alerts/<int:alert_id>/seen", acting.seen, name="page-seen"),
    path("alerts/<int:alert_id>/dismiss", acting.dismiss, name="page-dismiss"),
    path("alerts/<int:alert_id>/list", acting.list_revision, name="page-list"),
    path("sign-in/", sign_in.sign_in, name="page-sign-in"),
    path("sign-out/", sign_in.sign_out, name="page-sign-out"),
    path("mail/confirm/<str:token>", mail_links.confirm, name="page-confirm"),
    path("mail/leave/<str:token>", mail_links.leave, name="page-leave"),
    path("style/<str:digest>.css", style.style, name="page-style"),
]

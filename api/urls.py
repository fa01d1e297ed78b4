"""Routes under /api/v1/."""

from django.urls import path
from django.views.decorators.http import conditional_page
from rest_framework.routers import SimpleRouter

from api.views import alerts, answers, catalogue, comparing, editions, subscriptions
from api.views.exports import Exports, ExportsDictionary
from api.views.feeds import Feed, OwnFeed
from api.views.health import Health
from api.views.identifying import Identifications
from api.views.listing import AlertList
from api.views.measure import Measure
from api.views.proposals import (
    CatalogueHistory,
    ProposalConfirm,
    ProposalReject,
    Proposals,
    ProposedDifferences,
)
from api.views.readings import Reading
from api.views.runs import RunCycles, RunDetail, RunList, RunTrace, RunWithdraw
from api.views.schema import Schema

router = SimpleRouter(trailing_slash=False)
router.register("makers", catalogue.Makers)
router.register("pump-models", catalogue.PumpModels)
router.register("revisions", catalogue.Revisions)
router.register("serial-spans", catalogue.SerialSpans)
router.register("units", catalogue.Units)
router.register("clinics", catalogue.Clinics)
router.register("gauges", catalogue.Gauges)
router.register("rigs", catalogue.Rigs)
router.register("proposals", Proposals)
router.register("editions", editions.Editions)

urlpatterns = [
    path("health", Health.as_view()),
    path("schema", Schema.as_view()),
    path("measure", Measure.as_view()),
    path("runs", RunList.as_view()),
    path("runs/<int:run_id>", RunDetail.as_view()),
    path("runs/<int:run_id>/trace", RunTrace.as_view()),
    path("runs/<int:run_id>/cycles", RunCycles.as_view()),
    path("runs/<int:run_id>/withdraw", RunWithdraw.as_view()),
    path("gauges/<str:code>/reading", Reading.as_view()),
    path("serials", answers.Serials.as_view()),
    path("distributions", answers.Distributions.as_view()),
    path("benches", answers.Benches.as_view()),
    path("comparisons", comparing.Comparisons.as_view()),
    path("part-swaps", comparing.PartSwaps.as_view()),
    path("settings-matches", comparing.SettingsMatches.as_view()),
    path("claims", comparing.Claims.as_view()),
    path("identifications", Identifications.as_view()),
    path("exports", Exports.as_view()),
    path("exports/dictionary", ExportsDictionary.as_view()),
    path("alerts/feed", Feed.as_view(), name="alerts-feed"),
    path("alerts/feed/<str:key>", OwnFeed.as_view(), name="alerts-feed-own"),
    path("subscriptions", subscriptions.Subscriptions.as_view()),
    path("subscriptions/<int:subscription_id>", subscriptions.SubscriptionDetail.as_view()),
    path("subscriptions/<int:subscription_id>/replay", subscriptions.SubscriptionReplay.as_view()),
    path("subscriptions/<int:subscription_id>/rotate", subscriptions.SubscriptionRotate.as_view()),
    path("subscriptions/<int:subscription_id>/test", subscriptions.SubscriptionTest.as_view()),
    path("subscriptions/<int:subscription_id>/deliveries", subscriptions.SubscriptionDeliveries.as_view()),
    path("alerts", conditional_page(alerts.Alerts.as_view())),  # who watches asks every half minute
    path("alert-rules", alerts.AlertRules.as_view()),
    path("explanations", alerts.Explanations.as_view()),
    path("alerts/<int:alert_id>/seen", alerts.AlertSeen.as_view()),
    path("alerts/<int:alert_id>/dismiss", alerts.AlertDismiss.as_view()),
    path("alerts/<int:alert_id>/list", AlertList.as_view()),
    path("catalogue", catalogue.Catalogue.as_view()),
    path("pump-models/<int:model_id>/history", CatalogueHistory.as_view()),
    path("proposals/from-catalogue", ProposedDifferences.as_view()),
    path("proposals/<int:proposal_id>/confirm", ProposalConfirm.as_view()),
    path("proposals/<int:proposal_id>/reject", ProposalReject.as_view()),
    *router.urls,
]

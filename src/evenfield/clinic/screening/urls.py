"""Addresses of the screening."""

from django.urls import path

from evenfield.clinic.screening import views, views_consent, views_questions

urlpatterns = [
    path("consent-text/", views_consent.consent_text, name="consent-text"),
    path("questions-asked/", views_questions.questions_asked, name="screening-questions"),
    path("<str:code>/", views.screening, name="screening"),
    path("<str:code>/questions/", views.ask, name="ask-screening"),
    path("<str:code>/decision/", views.decide, name="decide-screening"),
    path("<str:code>/consent/", views_consent.consent, name="consent"),
    path("<str:code>/consent/withdraw/", views_consent.withdraw, name="withdraw-consent"),
    path("<str:code>/sheet/", views.take_home, name="take-home"),
    path("<str:code>/kept/<int:number>/", views.kept_entry, name="kept-screening"),
]

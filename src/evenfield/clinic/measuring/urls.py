"""Addresses of measuring."""

from django.urls import path

from evenfield.clinic.measuring import views, views_kept

urlpatterns = [
    path("protocols/", views_kept.protocols, name="measuring-protocols"),
    path("<str:code>/", views_kept.measurements, name="measurements"),
    path("<str:code>/start/", views.start, name="start-measuring"),
    path("<str:code>/enter/", views.enter, name="enter-measurements"),
    path("<str:code>/kept/<int:number>/", views_kept.kept, name="kept-measurements"),
    path("<str:code>/kept/<int:number>/correct/", views.correct, name="correct-measurement"),
]

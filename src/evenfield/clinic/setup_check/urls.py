"""Addresses of the set-up."""

from django.urls import path

from evenfield.clinic.setup_check import views

urlpatterns = [
    path("<str:code>/", views.setup_check, name="setup-check"),
    path("<str:code>/begin/", views.begin_setup, name="begin-setup"),
    path("<str:code>/tick/", views.tick_line, name="tick-setup"),
]

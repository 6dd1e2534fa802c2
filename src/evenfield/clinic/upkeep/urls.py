"""Addresses of upkeep; the work itself is done at the terminal."""

from django.urls import path

from evenfield.clinic.upkeep import views

urlpatterns = [path("backup/", views.backup, name="backup")]

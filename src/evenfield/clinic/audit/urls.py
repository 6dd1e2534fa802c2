"""Addresses of the trail."""

from django.urls import path

from evenfield.clinic.audit import views

urlpatterns = [path("", views.trail_page, name="trail")]

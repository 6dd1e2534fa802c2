"""Addresses of the general pages."""

from django.urls import path

from evenfield.clinic.pages import views

urlpatterns = [
    path("", views.home, name="home"),
    path("settings/", views.clinic_settings, name="clinic-settings"),
    path("about/", views.about, name="about"),
]

"""Upkeep has no pages: it is done at the terminal."""

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []

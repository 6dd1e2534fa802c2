"""Every address of the site: each part's own, under its prefix."""

from importlib import import_module

from django.urls import include, path

from evenfield.clinic.parts import clinic_parts

urlpatterns = [
    path(part.prefix, include(f"{part.name}.urls"))
    for part in clinic_parts()
    if import_module(f"{part.name}.urls")
]
handler403 = "evenfield.clinic.pages.views.refused"
handler404 = "evenfield.clinic.pages.views.not_found"
handler500 = "evenfield.clinic.pages.views.failed"

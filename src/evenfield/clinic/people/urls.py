"""Addresses about people."""

from django.urls import path

from evenfield.clinic.people import views, views_keeping

urlpatterns = [
    path("", views.people, name="people"),
    path("add/", views.add_person, name="add-person"),
    path("<str:code>/", views.person, name="person"),
    path("<str:code>/change/", views.change_person, name="change-person"),
    path("<str:code>/deactivate/", views_keeping.deactivate, name="deactivate-person"),
    path("<str:code>/come-back/", views.come_back, name="come-back"),
    path("<str:code>/merge/", views_keeping.merge_person, name="merge-person"),
    path("<str:code>/export/", views_keeping.export_person, name="export-person"),
    path("<str:code>/erase/", views_keeping.erase_person, name="erase-person"),
]

"""Addresses of the photographs."""

from django.urls import path

from evenfield.clinic.photographs import views

urlpatterns = [
    path("<str:code>/", views.photographs, name="photographs"),
    path("<str:code>/take/", views.take, name="take-photograph"),
    path("<str:code>/<int:number>/", views.compare, name="compare-photographs"),
    path("<str:code>/<int:number>/picture/", views.picture, name="picture"),
    path("<str:code>/<int:number>/withdraw/", views.withdraw, name="withdraw-photograph"),
]

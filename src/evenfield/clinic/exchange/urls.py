"""Addresses of sending and taking in."""

from django.urls import path

from evenfield.clinic.exchange import views, views_take_in

urlpatterns = [
    path("take-in/", views_take_in.take_in, name="take-in"),
    path("take-in/look/", views_take_in.look, name="look-take-in"),
    path("take-in/template/<str:kind>/", views_take_in.template, name="take-in-template"),
    path("visit/<int:number>/", views.send_visit, name="send-visit"),
    path("person/<str:code>/", views.send_person, name="send-person"),
]

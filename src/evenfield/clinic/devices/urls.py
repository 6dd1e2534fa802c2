"""Addresses of devices, panels and rooms."""

from django.urls import path

from evenfield.clinic.devices import views

urlpatterns = [
    path("", views.devices, name="devices"),
    path("generic/", views.generic_profile, name="generic-profile"),
    path("device/add/", views.add_device, name="add-device"),
    path("device/<int:number>/", views.change_device, name="change-device"),
    path("panel/add/", views.add_panel, name="add-panel"),
    path("panel/<int:number>/", views.change_panel, name="change-panel"),
    path("room/add/", views.add_room, name="add-room"),
    path("room/<int:number>/", views.change_room, name="change-room"),
]

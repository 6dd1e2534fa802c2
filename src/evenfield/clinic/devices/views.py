"""Devices, panels and rooms: seen by all who work with them, changed by lead clinician and owner."""

from typing import Any

from django.contrib import messages
from django.db import models
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from evenfield.clinic.access import requires
from evenfield.clinic.accounts.middleware import StaffRequest
from evenfield.clinic.devices.forms import DeviceForm, PanelForm, RoomForm
from evenfield.clinic.devices.models import Device, PanelProfile, TreatmentRoom


@requires("devices.view")
def devices(request: StaffRequest) -> HttpResponse:
    """Everything the clinic works with."""
    context = {
        "devices": Device.objects.order_by("-in_use", "name", "number"),
        "panels": PanelProfile.objects.select_related("device").order_by("-in_use", "name"),
        "rooms": TreatmentRoom.objects.order_by("-in_use", "name"),
    }
    return render(request, "devices/devices.html", context)


@requires("devices.view")
def generic_profile(request: StaffRequest) -> HttpResponse:
    """The generic device's profile as text, to begin one's own from."""
    from evenfield.field.device import shipped_text

    return HttpResponse(shipped_text(), content_type="text/plain; charset=utf-8")


@requires("devices.change")
def add_device(request: StaffRequest) -> HttpResponse:
    """A new device."""
    return _form(request, DeviceForm, "Add a device")


@requires("devices.change")
def change_device(request: StaffRequest, number: int) -> HttpResponse:
    """Change a device."""
    return _form(request, DeviceForm, "Device", get_object_or_404(Device, pk=number))


@requires("devices.change")
def add_panel(request: StaffRequest) -> HttpResponse:
    """A new kind of panel."""
    return _form(request, PanelForm, "Add a panel")


@requires("devices.change")
def change_panel(request: StaffRequest, number: int) -> HttpResponse:
    """Change a panel."""
    return _form(request, PanelForm, "Panel", get_object_or_404(PanelProfile, pk=number))


@requires("devices.change")
def add_room(request: StaffRequest) -> HttpResponse:
    """A new room."""
    return _form(request, RoomForm, "Add a room")


@requires("devices.change")
def change_room(request: StaffRequest, number: int) -> HttpResponse:
    """Change a room."""
    return _form(request, RoomForm, "Room", get_object_or_404(TreatmentRoom, pk=number))


def _form(
    request: StaffRequest, form_class: Any, title: str, instance: models.Model | None = None
) -> HttpResponse:
    form = form_class(request.POST or None, instance=instance)
    if request.method == "POST" and form.is_valid():
        form.save()
        messages.success(request, "Saved.")
        return redirect("devices")
    return render(
        request, "devices/form.html", {"form": form, "title": title, "device_form": form_class is DeviceForm}
    )

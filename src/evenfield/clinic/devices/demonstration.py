"""Invented rooms, a device of no particular make, and its panels."""

from evenfield.clinic.devices.models import Device, PanelProfile, TreatmentRoom


def make_devices() -> None:
    """Two rooms, two devices, four panels; all figures are invented."""
    for name, air, speed in (("Window room", 23.0, 0.5), ("Court room", 22.0, 0.1)):
        TreatmentRoom(name=name, air_c=air, air_speed_m_s=speed).save()
    first = Device(
        name="Device A (invented)",
        number="0001",
        power_most_w=200,
        minutes_most=45,
        gap_least_mm=8,
        tuning_intended_percent=80,
        manual="Invented manual, edition 1, page 12",
    )
    first.save()
    Device(name="Device B (invented)", number="0002").save()
    for name, shape, width, length in (
        ("large plate", "flat", 160, 220),
        ("small plate", "flat", 90, 140),
        ("wide bow", "curved", 260, 180),
        ("narrow bow", "curved", 140, 120),
    ):
        PanelProfile(name=name, device=first, shape=shape, width_mm=width, length_mm=length).save()

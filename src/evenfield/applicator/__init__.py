"""Panels and how they are placed."""

from evenfield.applicator.check import PlacementError, check_placement
from evenfield.applicator.panel import Panel, PanelShape
from evenfield.applicator.placed import PlacedPanel, place
from evenfield.applicator.words import spot_name, third_name

__all__ = [
    "Panel",
    "PanelShape",
    "PlacedPanel",
    "PlacementError",
    "check_placement",
    "place",
    "spot_name",
    "third_name",
]

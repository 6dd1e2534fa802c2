"""Figures of a forecast and its report as PDF, in words and colours that everyone can read."""

from evenfield.report.figures import Picture, pictures, save_picture, save_pictures
from evenfield.report.forecast_page import write_report
from evenfield.report.placement_page import write_placement_page
from evenfield.report.wording import (
    Finding,
    assumption_lines,
    basis_lines,
    body_lines,
    findings,
    placement_lines,
    setting_line,
    shares,
    spot_list,
    tissue_line,
)

__all__ = [
    "Finding",
    "Picture",
    "assumption_lines",
    "basis_lines",
    "body_lines",
    "findings",
    "pictures",
    "placement_lines",
    "save_picture",
    "save_pictures",
    "setting_line",
    "shares",
    "spot_list",
    "tissue_line",
    "write_placement_page",
    "write_report",
]

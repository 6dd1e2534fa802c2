"""Figures of a forecast and its report as PDF, in words and colours that everyone can read."""

from evenfield.report.figures import Picture, pictures, save_pictures
from evenfield.report.pdf import write_report
from evenfield.report.wording import (
    DECIDES,
    Finding,
    assumption_lines,
    findings,
    placement_lines,
    setting_line,
    shares,
    spot_list,
)

__all__ = [
    "DECIDES",
    "Finding",
    "Picture",
    "assumption_lines",
    "findings",
    "pictures",
    "placement_lines",
    "save_pictures",
    "setting_line",
    "shares",
    "spot_list",
    "write_report",
]

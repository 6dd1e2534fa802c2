"""Figures of a forecast and its report as PDF, in words and colours that everyone can read."""

from evenfield.report.figures import Picture, pictures, save_pictures
from evenfield.report.findings import DECIDES, Finding, findings, setting_line
from evenfield.report.pdf import write_report

__all__ = [
    "DECIDES",
    "Finding",
    "Picture",
    "findings",
    "pictures",
    "save_pictures",
    "setting_line",
    "write_report",
]

"""The smallest case the tests share: one panel behind an invented calf."""

# no session: each test says how it is treated
CALF = """
title = "Calf of an invented client, one panel"
[region]
kind = "calf"
levels_mm = [-70, 70]
girth_mm = [340, 340]
fat_mm = 12
[[panel]]
name = "back"
angle_deg = 180
width_mm = 70
length_mm = 120
gap_mm = 12
"""
CALF_10_W = f"{CALF}[session]\nabsorbed_w = 10\nminutes = 10\n"

"""What a temperature history amounts to: thermal dose, burn estimate, time in band, evenness, hot spots.

None of these says what becomes of fat: no heat-survival curve for fat cells was found in print, so results
are left to measurement.
"""

from evenfield.dose.band import crossing, minutes_in_band
from evenfield.dose.burn import DILLER, WEAVER_STOLL, BurnEstimate, BurnLaw, burn_estimate, burn_integral
from evenfield.dose.cem43 import CUT_OFF_C, cem43
from evenfield.dose.evenness import Evenness, evenness
from evenfield.dose.hot_spots import HotSpot, find_hot_spots
from evenfield.dose.place_words import UnderPanel, place_words
from evenfield.dose.thresholds import THRESHOLDS, Quantity, Threshold, threshold

__all__ = [
    "CUT_OFF_C",
    "DILLER",
    "THRESHOLDS",
    "WEAVER_STOLL",
    "BurnEstimate",
    "BurnLaw",
    "Evenness",
    "HotSpot",
    "Quantity",
    "Threshold",
    "UnderPanel",
    "burn_estimate",
    "burn_integral",
    "cem43",
    "crossing",
    "evenness",
    "find_hot_spots",
    "minutes_in_band",
    "place_words",
    "threshold",
]

"""evenfield: where the heat of a contactless 27.12 MHz field goes, before, during and after a visit.

It advises and records. It controls no device.
"""

__version__ = "0.1.0"

"""How dates and times are written, for each of the two ways a clinic can choose."""

"""The air and the covers around the region."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Room:
    """Surroundings of the skin.

    air_c              air temperature, °C (walls and panels are taken at the same)
    air_speed_m_s      air speed over the skin, m/s
    relative_humidity  0 to 1
    wettedness         share of the skin that is wet, 0 to 1; 0.06 is skin that does not sweat (label P)
    drape_clo          cover over the skin outside the panels, clo (1 clo = 0.155 m²K/W, ISO 9920); 0 bare
    """

    air_c: float = 23.0
    air_speed_m_s: float = 0.1
    relative_humidity: float = 0.5
    wettedness: float = 0.06
    drape_clo: float = 0.0

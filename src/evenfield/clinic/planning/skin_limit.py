"""The clinic's skin limit, from its practice profile or the shipped one."""

from pathlib import Path

from django.conf import settings

from evenfield.conduct.profile import ProfileError, default_profile, read_profile


def skin_limit_c() -> float:
    """°C. Raises ProfileError if the clinic's own profile is there but cannot be used: the shipped one never
    stands in unseen."""
    file = Path(settings.EVENFIELD_HOME) / "practice.toml"
    if not file.exists():
        return float(default_profile().numbers.skin_limit_c.value)
    try:
        text = file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise ProfileError(f"practice profile {file.name}: cannot be read: {error}") from None
    return float(read_profile(text, file.name).numbers.skin_limit_c.value)

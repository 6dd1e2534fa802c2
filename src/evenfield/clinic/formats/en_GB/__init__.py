"""Day first, 24 hours."""

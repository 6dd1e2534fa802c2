"""Month first, 12 hours."""

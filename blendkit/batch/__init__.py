"""Stage batch."""

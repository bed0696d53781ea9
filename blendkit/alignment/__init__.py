"""Stage alignment."""

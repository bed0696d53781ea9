"""Stage masks."""

"""Stage plan."""

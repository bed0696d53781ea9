"""Stage review."""

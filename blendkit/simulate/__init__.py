"""Stage simulate."""

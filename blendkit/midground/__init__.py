"""Stage midground."""

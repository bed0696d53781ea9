"""Stage optics."""

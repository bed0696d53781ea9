"""Stage files."""

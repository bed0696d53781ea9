"""Stage sharpness."""

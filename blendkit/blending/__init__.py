"""Stage blending."""

"""Stage report."""

"""Stage cli."""

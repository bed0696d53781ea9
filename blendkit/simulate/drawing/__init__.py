"""Painters of layers: boughs, leaves, backgrounds, the sitter.  Only scenes need them."""

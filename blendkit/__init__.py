"""blendkit: one picture from a pair taken at two apertures or two focus distances."""

__version__ = "0.1.0"

"""Array operations that several stages share: disc blur, bands, windows, resampling, robust fit."""

"""Instrument, shapes, root moves and fingering."""

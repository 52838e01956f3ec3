"""Pitch, key, chord, meter, tempo and the Part: small frozen values, no files, no clock."""

"""Diagrams, engraving and the print pack."""

"""A Part to and from MIDI, MusicXML and JSON."""

"""A Part to and from MIDI, MusicXML and JSON: bytes in, bytes out, no note lost."""

from undersong.exchange.midi_read import part_from_midi
from undersong.exchange.midi_write import midi_bytes
from undersong.exchange.musicxml_read import part_from_musicxml
from undersong.exchange.musicxml_write import musicxml_bytes
from undersong.exchange.partjson import part_from_json, part_to_json
from undersong.exchange.parts import read_part

__all__ = [
    "midi_bytes",
    "musicxml_bytes",
    "part_from_json",
    "part_from_midi",
    "part_from_musicxml",
    "part_to_json",
    "read_part",
]

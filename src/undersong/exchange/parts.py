"""Any file that may hold a Part: which kind it is, and the Part in it."""

from __future__ import annotations

from pathlib import PurePath

from undersong.errors import ExchangeError
from undersong.exchange.midi_read import part_from_midi
from undersong.exchange.musicxml_read import part_from_musicxml
from undersong.exchange.partjson import part_from_json
from undersong.theory.part import Part

_MIDI, _MUSICXML, _JSON = "MIDI", "MusicXML", "JSON"
_KINDS = {
    ".mid": _MIDI,
    ".midi": _MIDI,
    ".musicxml": _MUSICXML,
    ".xml": _MUSICXML,
    ".mxl": _MUSICXML,
    ".json": _JSON,
}
_BYTE_ORDER_MARKS = (b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff")
_ZIP = b"PK\x03\x04"
_MAKE_A_LINE = "A chart or a sheet of chords becomes a part when a line is made of it."
_SIGNS = ((b"MThd", _MIDI), (_ZIP, _MUSICXML), (b"<", _MUSICXML), (b"{", _JSON))


def read_part(data: bytes, name: str, *, which: str | None = None) -> Part:
    """The part in a file, by what its first bytes say it is, else by its name.

    Parameters
    ----------
    data
        The file's bytes.
    name
        Its name; the ending tells the kind where the bytes do not.
    which
        The track or part to take where a MIDI or MusicXML file holds several.

    Raises
    ------
    ExchangeError
        One sentence that begins with the file's name.
    """
    file = PurePath(name).name
    if data.startswith(_ZIP) and b"word/document.xml" in data:
        raise ExchangeError(
            f"{file}: this is a word-processor file: it may hold a sheet of chords, and no written "
            f"part. {_MAKE_A_LINE}"
        )
    kind = _sniffed(data) or _KINDS.get(PurePath(name).suffix.lower())
    try:
        if kind == _MIDI:
            return part_from_midi(data, which=which)
        if kind == _MUSICXML:
            return part_from_musicxml(data, which=which)
        if kind == _JSON:
            return part_from_json(data)
    except ExchangeError as error:
        raise ExchangeError(f"{file}: {error}") from error
    raise ExchangeError(
        f"{file}: this holds no part we can read: use MIDI (.mid), MusicXML (.musicxml, .mxl) "
        f"or our own .json. {_MAKE_A_LINE}"
    )


def _sniffed(data: bytes) -> str | None:
    start = data[:64]
    for mark in _BYTE_ORDER_MARKS:
        start = start.removeprefix(mark)
    start = start.replace(b"\x00", b"").lstrip()  # UTF-16 text has a zero in every letter
    return next((kind for sign, kind in _SIGNS if start.startswith(sign)), None)

"""What a file says it is, before anything decodes it.

A musician may hand us anything: a page, a MIDI file, a film, half a recording. Here the first
bytes are read and either the kind of sound is named or one sentence says what the file is. The
decoder behind `files` therefore only ever sees files of the five kinds it reads well, at sample
rates and channel counts that make sense, and none that promises more sound than it holds.

References
----------
WAVE: Multimedia Programming Interface and Data Specifications 1.0 (1991), and RF64 in EBU Tech
3306. AIFF: Audio Interchange File Format 1.3 (1989). FLAC: RFC 9639. Ogg: RFC 3533, with Vorbis I
and Opus (RFC 7845) headers. MPEG audio frames: ISO/IEC 11172-3 and 13818-3. ID3v2: id3.org, 2.4.0.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import BinaryIO

from undersong.errors import AudioError

LOWEST_RATE_HZ, HIGHEST_RATE_HZ = 4_000, 384_000
MAX_CHANNELS = 64
MISSING_ALLOWED_S = 0.05  # some writers are a few bytes off; less than this is not "cut short"
EXPORT_ADVICE = "export it as WAV, FLAC or MP3"

_HEAD_BYTES = 64
_TAIL_BYTES = 65_536 + 4_096  # an Ogg page has at most 65,307 bytes


class Kind(StrEnum):
    """The kinds of sound file that are read."""

    WAV = "WAV"
    AIFF = "AIFF"
    FLAC = "FLAC"
    OGG = "OGG"
    MP3 = "MP3"


@dataclass(frozen=True, slots=True)
class _Promise:
    """What a header claims; 0 where it says nothing."""

    rate_hz: int = 0
    channels: int = 0
    byte_rate: int = 0
    data_bytes: int = 0
    held_bytes: int = 0


# Signs of files that are not for us: where the bytes stand, the bytes, and what the file is.
_OTHERS: tuple[tuple[int, bytes, str], ...] = (
    (4, b"ftyp", "an M4A or MP4 file"),
    (0, b"\x1a\x45\xdf\xa3", "a WebM or Matroska file"),
    (0, b"\x30\x26\xb2\x75", "a Windows Media file"),
    (0, b"#!AMR", "an AMR voice memo"),
    (0, b"caff", "a Core Audio file"),
    (0, b"ADIF", "an AAC file"),
)
_NO_SOUND: tuple[tuple[bytes, str], ...] = (
    (b"MThd", "a MIDI file, which holds notes and no sound"),
    (b"%PDF", "a PDF page, not sound"),
    (b"PK\x03\x04", "a zip archive, not sound"),
    (b"\x89PNG", "a picture, not sound"),
    (b"\xff\xd8\xff", "a picture, not sound"),
    (b"SQLite format 3", "a database, not sound"),
)


def kind_of(handle: BinaryIO, name: str, size: int) -> Kind:
    """Name the kind of sound in an open file, having checked what its header promises.

    Parameters
    ----------
    handle
        The file, open for reading bytes; its position is moved.
    name
        The file as the user knows it, for the sentence.
    size
        Bytes in the file.

    Raises
    ------
    AudioError
        If this is no sound we read, or its header promises what the file does not hold.
    """
    if size == 0:
        raise AudioError(f"{name} is empty: record or export the take again.")
    start = _after_id3(handle)
    handle.seek(start)
    head = handle.read(_HEAD_BYTES)
    if head[:4] in (b"RIFF", b"RIFX", b"RF64") and head[8:12] == b"WAVE":
        _check(name, _wave_promise(handle, size, name, big_endian=head[:4] == b"RIFX"))
        return Kind.WAV
    if head[:4] == b"FORM" and head[8:12] in (b"AIFF", b"AIFC"):
        _check(name, _aiff_promise(handle, size))
        return Kind.AIFF
    if head[:4] == b"fLaC":
        _check(name, _flac_promise(head))
        return Kind.FLAC
    if head[:4] == b"OggS":
        _check(name, _ogg_promise(head, name))
        _check_ogg_end(handle, name, size)
        return Kind.OGG
    if _mp3_frame(head) is not None:
        _check(name, _mp3_promise(handle, start, size, name))
        return Kind.MP3
    raise AudioError(_what_else(name, head))


def _what_else(name: str, head: bytes) -> str:
    for at, sign, what in _OTHERS:
        if head[at : at + len(sign)] == sign:
            return (
                f"{name} is {what}, which cannot be read here: "
                f"open it in the app's page, or {EXPORT_ADVICE}."
            )
    if len(head) > 1 and head[0] == 0xFF and head[1] & 0xF6 == 0xF0:  # ADTS: sync and layer 0
        return (
            f"{name} is an AAC file, which cannot be read here: "
            f"open it in the app's page, or {EXPORT_ADVICE}."
        )
    for sign, what in _NO_SOUND:
        if head.startswith(sign):
            return f"{name} is {what}: choose a recording (WAV, FLAC, OGG or MP3)."
    if head and all(byte >= 32 or byte in b"\t\r\n" for byte in head):
        return f"{name} is text, not sound: choose a recording (WAV, FLAC, OGG or MP3)."
    return f"{name} is not a sound file we know: {EXPORT_ADVICE}."


def _check(name: str, promise: _Promise) -> None:
    """Refuse headers that no recording has."""
    if promise.rate_hz and not LOWEST_RATE_HZ <= promise.rate_hz <= HIGHEST_RATE_HZ:
        raise AudioError(
            f"{name} says it has {promise.rate_hz} samples a second: "
            f"recordings have {LOWEST_RATE_HZ} to {HIGHEST_RATE_HZ}; export it again."
        )
    if promise.channels > MAX_CHANNELS:
        raise AudioError(
            f"{name} says it has {promise.channels} channels: export it as mono or stereo."
        )
    missing = promise.data_bytes - promise.held_bytes
    if promise.byte_rate and missing > promise.byte_rate * MISSING_ALLOWED_S:
        raise AudioError(
            f"{name} is cut short: it should hold {promise.data_bytes / promise.byte_rate:.1f} s "
            f"and holds {max(0, promise.held_bytes) / promise.byte_rate:.1f} s; "
            "copy or export it again."
        )


def _after_id3(handle: BinaryIO) -> int:
    """Where the sound begins: after an ID3v2 tag, if there is one."""
    handle.seek(0)
    head = handle.read(10)
    if head[:3] != b"ID3" or len(head) < 10:
        return 0
    length = 0
    for byte in head[6:10]:
        length = (length << 7) | (byte & 0x7F)
    return 10 + length


def _chunks(handle: BinaryIO, size: int, *, big_endian: bool) -> Iterator[tuple[bytes, int, int]]:
    """Name, start and length of each chunk of a RIFF or FORM file, as far as the file goes."""
    order = ">" if big_endian else "<"
    at = 12
    while at + 8 <= size:
        handle.seek(at)
        name, length = struct.unpack(order + "4sI", handle.read(8))
        yield name, at + 8, length
        at += 8 + length + length % 2


def _wave_promise(handle: BinaryIO, size: int, name: str, *, big_endian: bool) -> _Promise:
    order = ">" if big_endian else "<"
    channels = rate_hz = byte_rate = 0
    for chunk, start, length in _chunks(handle, size, big_endian=big_endian):
        if chunk == b"fmt " and start + 16 <= size:
            handle.seek(start)
            _, channels, rate_hz, byte_rate = struct.unpack(order + "HHII", handle.read(12))
        if chunk == b"data":
            held = size - start
            if length == 0 and held > byte_rate * MISSING_ALLOWED_S:
                raise AudioError(
                    f"{name} was never finished: its recorder stopped before saving; "
                    "open it there again and export it."
                )
            endless = length >= 0xFFFF_0000  # written to a pipe, or RF64: length not said here
            return _Promise(rate_hz, channels, byte_rate, held if endless else length, held)
    return _Promise(rate_hz, channels)


def _aiff_promise(handle: BinaryIO, size: int) -> _Promise:
    channels = bits = rate_hz = 0
    for chunk, start, length in _chunks(handle, size, big_endian=True):
        if chunk == b"COMM" and start + 18 <= size:
            handle.seek(start)
            channels, _, bits, exponent, mantissa = struct.unpack(">HIHHQ", handle.read(18))
            # The rate is an 80-bit float: value = mantissa * 2 ** (exponent - 16383 - 63).
            shift = 16383 + 63 - exponent
            rate_hz = mantissa >> shift if 0 <= shift < 64 else 0
        if chunk == b"SSND":
            byte_rate = rate_hz * channels * ((bits + 7) // 8)
            return _Promise(rate_hz, channels, byte_rate, length, size - start)
    return _Promise(rate_hz, channels)


def _flac_promise(head: bytes) -> _Promise:
    if len(head) < 26:
        return _Promise()
    packed = int.from_bytes(head[18:26], "big")  # 20 bits rate, 3 bits channels less one
    return _Promise(packed >> 44, ((packed >> 41) & 7) + 1)


def _ogg_promise(head: bytes, name: str) -> _Promise:
    packet = head[28:]
    if packet.startswith(b"\x01vorbis") and len(packet) >= 16:
        channels, rate_hz = struct.unpack("<BI", packet[11:16])
        return _Promise(rate_hz or 1, channels)
    if packet.startswith((b"OpusHead", b"\x7fFLAC")):
        return _Promise(channels=packet[9] if packet.startswith(b"Opus") else 0)
    raise AudioError(f"{name} is an Ogg file without Vorbis, Opus or FLAC sound: {EXPORT_ADVICE}.")


def _check_ogg_end(handle: BinaryIO, name: str, size: int) -> None:
    """An Ogg stream ends with a whole page that is marked as its last (RFC 3533)."""
    handle.seek(max(0, size - _TAIL_BYTES))
    tail = handle.read()
    at = tail.rfind(b"OggS")
    page = tail[at:]
    if at >= 0 and len(page) >= 27 and page[5] & 4:
        segments = page[27 : 27 + page[26]]
        if len(page) >= 27 + page[26] + sum(segments):
            return
    raise AudioError(f"{name} is cut short: its last page is missing; copy or export it again.")


# Bit rates in kbit/s of MPEG-1 layer III and MPEG-2 layer III, by index; 0 is not allowed.
_KBITS = (
    (0, 32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320, 0),
    (0, 8, 16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128, 144, 160, 0),
)
_MP3_RATES_HZ = (44_100, 48_000, 32_000)


@dataclass(frozen=True, slots=True)
class _Frame:
    """One MPEG layer III frame header."""

    is_mpeg1: bool
    rate_hz: int
    channels: int
    length_bytes: int


def _mp3_frame(head: bytes) -> _Frame | None:
    """The layer III frame that starts here, or None."""
    if len(head) < 4 or head[0] != 0xFF or head[1] & 0xE0 != 0xE0:
        return None
    version, layer = (head[1] >> 3) & 3, (head[1] >> 1) & 3
    bit_rate, rate = head[2] >> 4, (head[2] >> 2) & 3
    if version == 1 or layer != 1 or rate == 3:
        return None
    is_mpeg1 = version == 3
    kbits = _KBITS[0 if is_mpeg1 else 1][bit_rate]
    if not kbits:
        return None
    rate_hz = _MP3_RATES_HZ[rate] // {3: 1, 2: 2, 0: 4}[version]
    length = (144 if is_mpeg1 else 72) * kbits * 1000 // rate_hz + ((head[2] >> 1) & 1)
    return _Frame(is_mpeg1, rate_hz, 1 if head[3] >> 6 == 3 else 2, length)


def _mp3_promise(handle: BinaryIO, start: int, size: int, name: str) -> _Promise:
    """Check that a second frame follows the first, and what a Xing header promises."""
    handle.seek(start)
    first = handle.read(_HEAD_BYTES * 4)
    frame = _mp3_frame(first)
    if frame is None:
        raise AudioError(f"{name} is not a sound file we know: {EXPORT_ADVICE}.")
    handle.seek(start + frame.length_bytes)
    if _mp3_frame(handle.read(4)) is None:
        raise AudioError(f"{name} starts like an MP3 and goes on as something else: export again.")
    side = {(True, 2): 32, (True, 1): 17, (False, 2): 17, (False, 1): 9}
    at = 4 + side[frame.is_mpeg1, frame.channels]
    if first[at : at + 4] not in (b"Xing", b"Info") or len(first) < at + 16:
        return _Promise(frame.rate_hz, frame.channels)
    flags, n_frames = struct.unpack(">II", first[at + 4 : at + 12])
    n_bytes = struct.unpack(">I", first[at + 12 : at + 16])[0]
    if flags & 3 != 3 or not n_frames:
        return _Promise(frame.rate_hz, frame.channels)
    seconds = n_frames * (1152 if frame.is_mpeg1 else 576) / frame.rate_hz
    byte_rate = max(1, round(n_bytes / seconds))
    return _Promise(frame.rate_hz, frame.channels, byte_rate, n_bytes, size - start)

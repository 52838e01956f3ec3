"""What a sound file says about itself: title, set, track, tempo.

WAV, FLAC and OGG carry the tags through the audio library, which knows no tempo: there it stands in
the comment. MP3 gets an ID3v2.4 tag of our own, with the tempo in its proper frame.

References
----------
ID3v2.4.0 structure and native frames (id3.org, 2000): text frames, COMM, synchsafe lengths.
"""

from __future__ import annotations

from dataclasses import dataclass

_UTF_8 = b"\x03"
_LANGUAGE = b"und"  # ISO 639-2: undetermined


@dataclass(frozen=True, slots=True)
class Tags:
    """Facts for the player's display; empty ones are not written.

    `album` is the set, `track` counts from 1, `tempo_bpm` counts the meter's own beat.
    """

    title: str = ""
    album: str = ""
    artist: str = ""
    track: int | None = None
    tempo_bpm: float | None = None
    date: str = ""
    comment: str = ""

    @property
    def full_comment(self) -> str:
        """The comment, with the tempo before it where there is one."""
        tempo = "" if self.tempo_bpm is None else f"{self.tempo_bpm:g} BPM"
        return "; ".join(text for text in (tempo, self.comment) if text)

    @property
    def as_strings(self) -> dict[str, str]:
        """The tags under the names the audio library gives them, empty ones left out."""
        strings = {
            "title": self.title,
            "album": self.album,
            "artist": self.artist,
            "tracknumber": "" if self.track is None else str(self.track),
            "date": self.date,
            "comment": self.full_comment,
        }
        return {name: text for name, text in strings.items() if text}


def id3_of(tags: Tags) -> bytes:
    """An ID3v2.4 tag to stand before MP3 sound; empty where there is nothing to say."""
    texts = {
        b"TIT2": tags.title,
        b"TALB": tags.album,
        b"TPE1": tags.artist,
        b"TRCK": "" if tags.track is None else str(tags.track),
        b"TBPM": "" if tags.tempo_bpm is None else str(round(tags.tempo_bpm)),
        b"TDRC": tags.date,
    }
    frames = [_frame(name, _UTF_8 + text.encode()) for name, text in texts.items() if text]
    if tags.full_comment:
        body = _UTF_8 + _LANGUAGE + b"\0" + tags.full_comment.encode()
        frames.append(_frame(b"COMM", body))
    if not frames:
        return b""
    body = b"".join(frames)
    return b"ID3\x04\x00\x00" + _synchsafe(len(body)) + body


def _frame(name: bytes, body: bytes) -> bytes:
    return name + _synchsafe(len(body)) + b"\0\0" + body


def _synchsafe(length: int) -> bytes:
    """Seven bits to a byte, so that no length looks like the start of a sound frame."""
    return bytes((length >> shift) & 0x7F for shift in (21, 14, 7, 0))

"""Audio files in and out: the only module that opens them.

What comes in is mono, float, in blocks, whatever the file was; what goes out is whole or not
there at all.

Conventions
-----------
Samples are floats, full scale from -1 to 1. A recording is heard as one channel, shape
(n_samples,): the mean of the channels that carry sound. A channel 40 dB below the loudest one (a
mono cable in a stereo recorder) is left out, and where two channels cancel each other (one of them
wired the wrong way round) the louder is taken alone. Which channels count is decided once, from
stretches spread over the whole file, so that the level never jumps.

References
----------
16-bit dither: triangular, two steps wide [Lipshitz, Wannamaker & Vanderkooy 1992].
"""

from __future__ import annotations

import os
import re
import shutil
import sys
import threading
import time
from collections.abc import Iterable, Iterator
from pathlib import Path
from types import TracebackType
from typing import Any, BinaryIO, Self

import numpy as np
import soundfile
from numpy.typing import NDArray

from undersong.errors import AudioError
from undersong.sound.headers import EXPORT_ADVICE, MISSING_ALLOWED_S, Kind, kind_of
from undersong.sound.tags import Tags, id3_of

__all__ = ["Recording", "Tags", "open_sound", "sweep_unfinished", "write_sound"]

Samples = NDArray[np.float32]

SILENT_CHANNEL = 10 ** (-40 / 20)  # of the loudest channel's level
CANCELLED_SHARE = 0.1  # of the energy the channels would have if they were alike
PROBES = 24
PROBE_S = 0.25
WRITE_BLOCK_S = 1.0  # Ogg written in one call is known to crash the library when it is long
DITHER_SEED = 16
FULL_SCALE_16 = 2**15
ABANDONED_S = 60.0
_UNKNOWN_FRAMES = 2**62
_PART = re.compile(r"\.(\d+)-\d+\.part")

_FORMATS = {".wav": "WAV", ".flac": "FLAC", ".ogg": "OGG", ".mp3": "MP3"}
_MP3_RATES_HZ = (8000, 11025, 12000, 16000, 22050, 24000, 32000, 44100, 48000)
_OGG_HIGHEST_RATE_HZ = 192_000
_OGG_COMPRESSION = 0.3  # of 1; at the library's own choice a hi-hat begins some ms early


class Recording:
    """An open sound file, read block by block; use it in a ``with`` statement.

    Attributes
    ----------
    name
        File name, for sentences to the user.
    kind
        What the file is.
    sample_rate_hz, channels
        As in the file.
    frames
        Samples per channel, or None where the file does not say.
    """

    def __init__(self, path: Path) -> None:
        self.name = path.name
        self._handle = _opened(path)
        try:
            size = os.fstat(self._handle.fileno()).st_size
            self.kind: Kind = kind_of(self._handle, self.name, size)
            self._sound = self._decoder()
            self.sample_rate_hz: int = self._sound.samplerate
            self.channels: int = self._sound.channels
            frames = self._sound.frames
            self.frames: int | None = frames if 0 <= frames < _UNKNOWN_FRAMES else None
            if self.frames == 0:
                raise AudioError(f"{self.name} holds no sound: record or export the take again.")
            self._weights = self._channel_weights()
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file."""
        if hasattr(self, "_sound"):
            self._sound.close()
        self._handle.close()

    @property
    def length_s(self) -> float | None:
        """Length in seconds, or None where the file does not say."""
        return None if self.frames is None else self.frames / self.sample_rate_hz

    def blocks(self, block_s: float = 1.0) -> Iterator[Samples]:
        """Go through the recording from its start, in order and without overlap.

        Parameters
        ----------
        block_s
            Length of a block in seconds, > 0; the last one may be shorter.

        Yields
        ------
        numpy.ndarray
            Mono samples, shape (n_samples,), float32, at `sample_rate_hz`, all finite.

        Raises
        ------
        AudioError
            If the sound breaks off before its end, or holds samples that are no numbers.
        """
        n_block = max(1, round(block_s * self.sample_rate_hz))
        self._seek(0)
        done = 0
        while True:
            frames = self._read(n_block)
            if not len(frames):
                break
            if not np.isfinite(frames).all():
                at_s = (done + int(np.argmax(~np.isfinite(frames).all(axis=1)))) / float(
                    self.sample_rate_hz
                )
                raise AudioError(
                    f"{self.name} holds samples that are no numbers at {at_s:.2f} s: "
                    "export it again from the recorder."
                )
            done += len(frames)
            mono: Samples = frames @ self._weights
            yield mono
        missing = (self.frames or 0) - done
        if missing > MISSING_ALLOWED_S * self.sample_rate_hz:
            raise self._broken_off(done)

    def _decoder(self) -> Any:
        self._handle.seek(0)
        try:
            # The bare wrapper hides the file's name: soundfile would trust its ending.
            return _Straight(_Nameless(self._handle))
        except (soundfile.LibsndfileError, TypeError, ValueError):
            raise AudioError(
                f"{self.name} starts like {self.kind} sound but cannot be decoded: {EXPORT_ADVICE}."
            ) from None

    def _seek(self, frame: int) -> None:
        try:
            self._sound.seek(frame)
        except soundfile.LibsndfileError:
            raise self._broken_off(frame) from None

    def _read(self, n_frames: int) -> Samples:
        try:
            frames: Samples = self._sound.read(n_frames, dtype="float32", always_2d=True)
        except soundfile.LibsndfileError:
            raise self._broken_off(self._sound.tell()) from None
        return frames

    def _broken_off(self, frame: int) -> AudioError:
        whole = "" if self.length_s is None else f" of {self.length_s:.1f} s"
        return AudioError(
            f"{self.name} breaks off after {frame / self.sample_rate_hz:.1f} s{whole}: "
            "copy or export it again."
        )

    def _channel_weights(self) -> Samples:
        """What each channel adds to the sound heard, shape (channels,)."""
        if self.channels == 1:
            return np.ones(1, np.float32)
        n_probe = max(1, round(PROBE_S * self.sample_rate_hz))
        last = max(0, (self.frames or 0) - n_probe)
        covariance = np.zeros((self.channels, self.channels))
        for at in sorted({round(share * last) for share in np.linspace(0, 1, PROBES)}):
            self._seek(at)
            probe = np.nan_to_num(self._read(n_probe).astype(np.float64), posinf=0, neginf=0)
            covariance += probe.T @ probe
        levels = np.sqrt(np.diag(covariance))
        if not levels.any():
            return np.full(self.channels, 1 / self.channels, np.float32)
        heard = levels >= SILENT_CHANNEL * levels.max()
        weights = heard / heard.sum()
        if weights @ covariance @ weights < CANCELLED_SHARE * (weights @ levels) ** 2:
            weights = (np.arange(self.channels) == np.argmax(levels)).astype(float)
        chosen: Samples = weights.astype(np.float32)
        return chosen


def open_sound(path: str | os.PathLike[str]) -> Recording:
    """Open a recording: WAV, FLAC, OGG (Vorbis, Opus), MP3 or AIFF.

    Parameters
    ----------
    path
        The file. Any sample rate from 4 to 384 kHz, 8 to 32 bits or float, 1 to 64 channels.

    Returns
    -------
    Recording
        Open; close it, or use it in a ``with`` statement. Long files are never held in memory.

    Raises
    ------
    AudioError
        One sentence that says what the file is instead, or what is wrong with it.
    """
    return Recording(Path(path))


def write_sound(
    path: str | os.PathLike[str],
    samples: NDArray[np.floating[Any]] | Iterable[NDArray[np.floating[Any]]],
    sample_rate_hz: int,
    *,
    tags: Tags | None = None,
    bits: int = 16,
) -> Path:
    """Write a sound file, whole or not at all.

    Parameters
    ----------
    path
        Where; its ending says what: .wav, .flac, .ogg (Vorbis) or .mp3.
    samples
        Shape (n_samples,) or (n_samples, channels), full scale from -1 to 1 (more is clipped), or
        blocks of that shape, taken one after another so that a long sound is never held whole.
    sample_rate_hz
        Samples a second. MP3 knows only its own nine rates.
    tags
        Title, album and so on.
    bits
        16 (with triangular dither from a fixed seed, so that the same sound gives the same file) or
        24 (without: its steps lie below any noise). OGG and MP3 take no notice.

    Returns
    -------
    Path
        `path`.

    Raises
    ------
    AudioError
        If the ending, the rate or the folder will not do, or the sound is empty or not finite.
    """
    target = Path(path)
    _check_target(target, sample_rate_hz, bits)
    blocks = _one_second_blocks(samples, sample_rate_hz)
    first = next(blocks, None)
    if first is None:
        raise AudioError(f"{target.name} would hold no sound: nothing was written.")
    part = _part_of(target)
    try:
        _write_blocks(part, target, _chained(first, blocks), sample_rate_hz, tags or Tags(), bits)
        part.replace(target)
    except (OSError, soundfile.LibsndfileError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else "disk full?"
        raise AudioError(f"{target} cannot be written ({reason}): choose another folder.") from None
    finally:
        part.unlink(missing_ok=True)
    return target


def sweep_unfinished(folder: str | os.PathLike[str]) -> None:
    """Remove what writers that were killed left half-written in a folder (hidden files)."""
    for left in Path(folder).glob(".*.part*"):
        match = _PART.search(left.name)
        if match is not None and not _is_running(int(match[1]), left):
            left.unlink(missing_ok=True)


def _part_of(target: Path) -> Path:
    """A hidden name beside the target, of this writer's own."""
    return target.with_name(f".{target.name}.{os.getpid()}-{threading.get_ident()}.part")


def _is_running(process: int, left: Path) -> bool:
    if sys.platform == "win32":  # there is no harmless signal: go by the file's age
        return time.time() - left.stat().st_mtime < ABANDONED_S
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True


class _Straight(soundfile.SoundFile):  # type: ignore[misc]  # the library has no types
    """A sound file read straight on.

    A seekable one seeks to where it stands after every read, which is not exact in an MP3 whose
    frames borrow bits from far back: whole frames fell silent.
    """

    def seekable(self) -> bool:
        return False


class _Nameless:
    """A binary file without a name, which answers instead of raising: its caller is C."""

    def __init__(self, handle: BinaryIO) -> None:
        self._handle = handle
        self._size = handle.seek(0, os.SEEK_END)
        handle.seek(0)

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        """Move, but never before the start (broken headers ask for that)."""
        start = {os.SEEK_SET: 0, os.SEEK_CUR: self.tell()}.get(whence, self._size)
        return self._handle.seek(max(0, start + offset))

    def tell(self) -> int:
        """Bytes from the start."""
        return self._handle.tell()

    def readinto(self, buffer: memoryview) -> int:
        """Fill a buffer; 0 where the file cannot be read any further."""
        try:
            data = self._handle.read(len(buffer))
        except OSError:
            return 0
        buffer[: len(data)] = data
        return len(data)

    def read(self, n_bytes: int) -> bytes:
        """Bytes from here on."""
        return self._handle.read(n_bytes)


def _opened(path: Path) -> BinaryIO:
    if path.is_dir():
        raise AudioError(f"{path} is a folder: choose the recording in it.")
    if not path.exists():
        raise AudioError(f"{path} does not exist: check the name and the folder.")
    if not path.is_file():
        raise AudioError(f"{path} is not a file: choose a recording (WAV, FLAC, OGG or MP3).")
    try:
        return path.open("rb")
    except OSError as error:
        raise AudioError(f"{path} cannot be opened: {error.strerror or 'no access'}.") from None


def _check_target(target: Path, sample_rate_hz: int, bits: int) -> None:
    if bits not in (16, 24):
        raise ValueError(f"bits must be 16 or 24, not {bits}")
    kind = _FORMATS.get(target.suffix.lower())
    if kind is None:
        raise AudioError(f"{target.name} has no ending we write: use .wav, .flac, .ogg or .mp3.")
    if kind == "MP3" and sample_rate_hz not in _MP3_RATES_HZ:
        raise AudioError(f"MP3 cannot hold {sample_rate_hz} samples a second: use 44100 or 48000.")
    if kind == "OGG" and sample_rate_hz > _OGG_HIGHEST_RATE_HZ:
        raise AudioError(f"OGG cannot hold {sample_rate_hz} samples a second: use 44100 or 48000.")
    if not target.parent.is_dir():
        raise AudioError(f"{target.parent} is not a folder: make it first.")


def _one_second_blocks(
    samples: NDArray[np.floating[Any]] | Iterable[NDArray[np.floating[Any]]], sample_rate_hz: int
) -> Iterator[NDArray[np.floating[Any]]]:
    n_block = max(1, round(WRITE_BLOCK_S * sample_rate_hz))
    for piece in [samples] if isinstance(samples, np.ndarray) else samples:
        for at in range(0, len(piece), n_block):
            block = piece[at : at + n_block]
            if not np.isfinite(block).all():
                raise AudioError("The sound holds samples that are no numbers: not written.")
            yield block


def _chained(
    first: NDArray[np.floating[Any]], rest: Iterator[NDArray[np.floating[Any]]]
) -> Iterator[NDArray[np.floating[Any]]]:
    yield first
    yield from rest


def _write_blocks(
    part: Path,
    target: Path,
    blocks: Iterator[NDArray[np.floating[Any]]],
    sample_rate_hz: int,
    tags: Tags,
    bits: int,
) -> None:
    kind = _FORMATS[target.suffix.lower()]
    lossless = kind in ("WAV", "FLAC")
    rng = np.random.default_rng(DITHER_SEED)
    first = next(blocks)
    channels = 1 if first.ndim == 1 else first.shape[1]
    subtype = f"PCM_{bits}" if lossless else None
    compression = _OGG_COMPRESSION if kind == "OGG" else None
    with soundfile.SoundFile(
        part,
        "w",
        sample_rate_hz,
        channels,
        subtype=subtype,
        format=kind,
        compression_level=compression,
    ) as out:
        if kind != "MP3":
            for name, text in tags.as_strings.items():
                setattr(out, name, text)
        for block in _chained(first, blocks):
            out.write(_dithered(block, rng) if lossless and bits == 16 else block)
    if kind == "MP3":
        _put_before(id3_of(tags), part)


def _dithered(block: NDArray[np.floating[Any]], rng: np.random.Generator) -> NDArray[np.int16]:
    """16-bit samples with triangular dither of two steps from peak to peak."""
    noise = rng.random(block.shape, np.float32) - rng.random(block.shape, np.float32)
    steps = np.rint(block * FULL_SCALE_16 + noise)
    return np.clip(steps, -FULL_SCALE_16, FULL_SCALE_16 - 1).astype(np.int16)


def _put_before(head: bytes, part: Path) -> None:
    """Put bytes before a file's own; `part` itself is a temporary file."""
    tagged = part.with_name(part.name + ".tagged")
    try:
        with part.open("rb") as sound, tagged.open("wb") as out:
            out.write(head)
            shutil.copyfileobj(sound, out)
        tagged.replace(part)
    finally:
        tagged.unlink(missing_ok=True)

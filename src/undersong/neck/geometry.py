"""Where the frets are, in millimetres.

Equal temperament: each fret leaves 2**(-1/12) of the string before it, so fret n lies
``scale * (1 - 2**(-n / 12))`` from the nut (trade handbook 4.3; the older rule of 18 is not used).
"""

from __future__ import annotations

from undersong.neck.instrument import FRETS_MAX, Instrument

FRETS_PER_OCTAVE = 12


def fret_distance_mm(fret: int, scale_mm: float) -> float:
    """Distance from the nut to a fret.

    Parameters
    ----------
    fret
        0 is the nut; at most 36.
    scale_mm
        Vibrating length of the open string, > 0.

    Returns
    -------
    float
        In [0, scale_mm): half of `scale_mm` at fret 12.

    Raises
    ------
    ValueError
        If `fret` or `scale_mm` is out of range.
    """
    if not 0 <= fret <= FRETS_MAX:
        raise ValueError(f"fret must be 0 to {FRETS_MAX}, not {fret}")
    if scale_mm <= 0:
        raise ValueError(f"a scale length must be positive, not {scale_mm:g} mm")
    return float(scale_mm * (1.0 - 2.0 ** (-fret / FRETS_PER_OCTAVE)))


def fret_span_mm(low_fret: int, high_fret: int, scale_mm: float) -> float:
    """Distance between two frets in mm, never negative; frets as in `fret_distance_mm`."""
    return abs(fret_distance_mm(high_fret, scale_mm) - fret_distance_mm(low_fret, scale_mm))


def is_four_finger_frame(low_fret: int, instrument: Instrument) -> bool:
    """Whether four fingers on four frets from `low_fret` up lie within the player's span.

    With the default 105 mm on an 863.6 mm scale this begins at fret 5 (trade handbook 4.5).
    """
    high_fret = min(low_fret + 3, FRETS_MAX)
    return fret_span_mm(low_fret, high_fret, instrument.scale_mm) <= instrument.hand_span_mm

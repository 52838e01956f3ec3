"""The page on looking after hands and ears, and on electricity and recordings.

Figures and stop signs: trade handbook 9, which names NIOSH criteria document 98-126 for the daily
sound dose; the rest is common practice, no source. The page defers to local rules and qualified
people, and says so first.
"""

from __future__ import annotations

from undersong.page import flow
from undersong.page.ground import Ground

_DOSE_REFERENCE_DB, _DOSE_EXCHANGE_DB, _DOSE_MINUTES = 85, 3, 480.0
_LEVELS_DB = (85, 88, 91, 94, 97, 100)

HANDS = (
    "Warm hands first, then five easy minutes.",
    "Rest five minutes in every twenty-five to thirty. Raise your weekly minutes slowly.",
    "Wide strap; the bass at the same height sitting and standing.",
    "Straight wrists, loose thumb, the lightest pressure that sounds clean, close to the fret.",
    "Low on the neck, or with a small hand: fingers 1, 2 and 4 instead of one to each fret.",
)
STOP = (
    "Stop for the day at pain, tingling, numbness, weakness, swelling, or a finger that curls or "
    "will not obey. Do not test it and do not play through it. Come back shorter and easier. See "
    "a clinician, best one who knows musicians, if it lasts more than a few days, comes back, or "
    "comes with numbness or weakness; at once for a finger that will not obey."
)
START_LOW = "Start every click and track low; just above the music is loud enough."
AFTERWARDS = (
    "Ringing, dullness or muffling afterwards means it was too loud. Rest, and see a hearing "
    "professional if it lasts past the next day."
)
EARS = (
    START_LOW,
    "In-ear monitors: set them in quiet. In noise seal them better instead of turning up, and "
    "never take one out: the other gets turned up.",
    AFTERWARDS,
)
DOSE = (
    "Minutes until the daily limit recommended for work by NIOSH (98-126), which counts on quiet "
    "for the rest of the day; not a promise of safety. For young ears stay well below it."
)
POWER = (
    "Earthed sockets only, and never lift an earth. Outdoors and in old halls use a "
    "residual-current device.",
    "A tingle from the strings or a microphone: stop, unplug at the wall, call a qualified "
    "electrician.",
    "Never open an amplifier: some hold a lethal charge long after they are switched off. No "
    "drinks on it.",
)
RECORDINGS = (
    "Ask before you record anyone, and a parent too where the player is young. Keep recordings "
    "on your own device and delete them when asked.",
    "Songs and sheets mostly belong to somebody. For copying, recording and streaming ask your "
    "church's licence holder.",
)


def dose_minutes(level_db: float) -> float:
    """Minutes to the whole daily dose at a sound level in dB(A).

    NIOSH 98-126: 85 dB(A) for eight hours, half the time for every 3 dB more.
    """
    return float(_DOSE_MINUTES / 2 ** ((level_db - _DOSE_REFERENCE_DB) / _DOSE_EXCHANGE_DB))


def care(ground: Ground) -> str:
    """The page as the typesetter's source."""
    levels = tuple(str(level) for level in _LEVELS_DB)
    minutes = tuple(f"{dose_minutes(level):g}" for level in _LEVELS_DB)
    columns = f"(auto, {', '.join('1fr' for _ in levels)})"
    return "\n".join(
        (
            flow.heading("Hands and ears", 1),
            flow.paragraph(
                "This is general care, not medical or electrical advice. Local rules and "
                "qualified people come first."
            ),
            flow.heading("Hands", 2),
            flow.bullets(HANDS),
            flow.paragraph(STOP),
            flow.heading("Ears", 2),
            flow.bullets(EARS),
            flow.kept_together(
                (
                    flow.table(
                        ("Level, dB(A)", *levels), [("Minutes a day", *minutes)], columns, ground
                    ),
                    flow.small(DOSE, ground),
                )
            ),
            flow.heading("Power", 2),
            flow.bullets(POWER),
            flow.heading("Recordings and songs", 2),
            flow.bullets(RECORDINGS),
        )
    )

"""Invented charts for the tests of lines: the demo's own, some by hand, some built from a table.

Progressions of the built ones are those of trade handbook 2.6 and 2.7; every feature of the chart
language that a bass player must honour stands in at least one.
"""

from __future__ import annotations

from functools import cache

from undersong.chart.song import Song
from undersong.chart.text import parse_song

BY_HAND = {
    "plain": """Title: Slow Water, Bright Stone
Key: G
Tempo: 72

Verse
| 1 | 5/7 | 6- | 4 |
| 1 / / 5 | 4 | 2-7 5sus | 1 |

Chorus
| 4 | 5 | 6- | 1/3 |
| 4 | 5 | 1 | 1 |

Order: Verse, Chorus, Verse, Chorus
""",
    "signs": """Title: The Ferry Comes Over
Key: D
Tempo: 88

Intro
| <1> | <4> |

Verse
-- vocal
| 1 | <<4 | 5 | 1! |
| 6- | <<5 | 4 0 | 0 |

Chorus
-- full
| <<1 | 5 | 6- | 4 |
| <<1 | 5 | 4 | 4(hold) |

Bridge
-- bass out
| 6- | 5 |
-- bass in
| 4 | 5 |
-- build
| 6- | 5 | 4 | 5 |

Order: Intro, Verse, Chorus, Bridge, Chorus
""",
    "pickup and odd bars": """Title: Lanterns Down the Lane
Key: A
Tempo: 96

Verse
| pickup 5. | 1 | 4 | 2/4: 5 | 1 |
| 1 | 4 | 5 | 1 |

Chorus
|: 4 | 5 | 1 | 6- :| x2

Order: Verse, Chorus, Verse, Chorus
""",
    "compound": """Title: Harbour Evening
Key: Bb
Meter: 6/8
Tempo: 52

Verse
| 1 | 6- | 4 | 5 |
| 1 | 6- | 2- | 5sus 5 |

Chorus
| 4 | 1/3 | 2- | 5 |
| 4 | 5 | 1 | 1 |

Order: Verse, Chorus, Verse, Chorus
""",
    "twelve eight": """Title: Old Orchard Gate
Key: F
Meter: 12/8
Tempo: 60

Verse
| 1 4 | 1 5 | 6- 4 | 5 |

Chorus
| 3- 6- | 2- 5 | 1 1(7) | 4 4- |
| 1/5 5 | 1 | 4 | 1 |

Order: Verse, Chorus, Verse, Chorus
""",
    "three four": """Title: Seven Candles
Key: Eb
Meter: 3/4
Tempo: 96

Verse
| 1 | 1/3 | 4 | 5 |
| 6- | 4 | 5 | 1 |

Chorus
| 4 | 5/4 | 1/3 | 6- |
| 2- | 5 | 1 | 1 |

Order: Verse, Chorus, Verse, Chorus
""",
    "lift": """Title: Higher Than the Hill
Key: D
Tempo: 100

Verse
| 1 | 4 | 6- | 5 |

Chorus
| 1 | 5 | 6- | 4 |
| 1 | 5 | 4 | 6 |

Last Chorus
-- up 2
| 1 | 5 | 6- | 4 |
| 1 | 5 | 4 | 1 |

Order: Verse, Chorus, Verse, Chorus, Last Chorus
""",
    "minor from six": """Title: Winter Field
Key: Em
Minor: 6-
Tempo: 76

Verse
| 6- | 4 | 1 | 5 |
| 6- | 2- | 3(7) | 6- |

Chorus
| 4 | 5 | 6- | 3- |
| 4 | 5 | 6- | 6- |

Order: Verse, Chorus, Verse, Chorus
""",
    "minor from one": """Title: Winter Field Again
Key: Cm
Minor: 1-
Tempo: 84

Verse
| 1- | b6 | b3 | b7 |
| 1- | 4- | 5(7) | 1- |

Chorus
| b6 | b7 | 1- | 5- |
| b6 | b7 | 1- | 1- |

Order: Verse, Chorus, Verse, Chorus
""",
    "gospel": """Title: Morning Road Shout
Key: Ab
Feel: gospel
Tempo: 92

Verse
| 1 1/3 | 4 #4dim | 1/5 6(7) | 2-7 5(7) |

Chorus
| 3-7 6-7 | 2-7 5(7) | 1 1(7)/3 | 4 4- |
| 1/5 3(7)/#5 | 6- 2(7) | 2-7 5(7) | 1 |

Order: Verse, Chorus, Verse, Chorus
""",
    "endings": """Title: Bread and Rain
Key: E
Tempo: 68

Verse
|: 1 | 5 | 6- | 4 |
1st: | 5 | 5 |
2nd: | 5 | 1 |

Chorus
| 4 | 1/3 | 2- | 5 |
| % | 4 | 1 | 1 |

Order: Verse, Chorus, Verse, Chorus
""",
    "seven eight": """Title: Uneven Steps
Key: C
Meter: 7/8
Tempo: 160

Verse
| 1 | b7 | 4 | 1 |

Chorus
| 6- | 4 | 1 | 5 |
| 6- | 4 | 5 | 1 |

Order: Verse, Chorus, Verse, Chorus
""",
}

_VERSES = (
    "| 1 | 5/7 | 6- | 4 |",
    "| 1 | 4/1 | 1 | 5sus |",
    "| 6- | 4 | 1 | 5 |",
    "| 1 | 6- | 4 | 5 |",
    "| 1 / 4 / | 1 | 2- / 5 / | 1 |",
    "| 1 | b7 | 4 | 1 |",
)
_CHORUSES = (
    "| 1 | 5 | 6- | 4 |\n| 1 | 5 | 4 | 4- |",
    "| 4 | 1 | 5 | 6- |\n| 4 | 1/3 | 5 | 5 |",
    "| 4 | 5 | 6- | 3- |\n| 2-7 | 3-7 | 4 | <<5 |",
    "| 1 | 6(7) | 2- | 5 |\n| 1 | 2(7) | 5 | 1 |",
)
_KEYS = ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
_TEMPOS = (60, 72, 84, 96, 112, 128)
BUILT = 30


def _built(number: int) -> str:
    """One of a table of charts: key, tempo, verse, chorus, and every third with a voice marked."""
    vocal = "-- vocal\n" if number % 3 == 0 else ""
    tag = "\nTag\n| 4 | 5 | <1> | 1(hold) |\n" if number % 2 else ""
    return (
        f"Title: Song {number} of the Table\nKey: {_KEYS[number % 12]}\n"
        f"Tempo: {_TEMPOS[number % 6]}\n\nVerse\n{vocal}{_VERSES[number % 6]}\n\n"
        f"Chorus\n{vocal}{_CHORUSES[number % 4]}\n{tag}\n"
        f"Order: Verse, Chorus, Verse, Chorus{', Tag' if tag else ''}\n"
    )


TEXTS = BY_HAND | {f"table {number}": _built(number) for number in range(BUILT)}


@cache
def chart(name: str) -> Song:
    """One of the charts, read."""
    return parse_song(TEXTS[name], source=name)

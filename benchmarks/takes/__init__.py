"""Bass takes with known answers: sampled basses played by a made-up player.

Parts: `sources` (the sampled basses), `attack` (where a note begins, how it is tuned), `spelling`
and `material` (what is asked), `player` (how it is played, with planted mistakes), `mix` (samples),
`conditions` (rooms, phones, bleed), `corpus` (the two splits), `check` (is the truth true?).
Nothing here uses the package under test: the ear is tested on sound it had no part in making.
"""

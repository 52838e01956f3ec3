"""What stands between two bar lines: chords on their beats.

Two ways of counting are read: slashes, one a beat after the chord's own (``1 / / 5``), and dots,
one a beat in all (``1... 5.``); chords with neither share the bar evenly. `bar_signs` prints one
spelling of any bar.
"""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction

from undersong.chart.signs import (
    PREFIX_WORDS,
    Reading,
    Sign,
    SignError,
    Token,
    place_text,
    read_sign,
    sign_text,
    tokens_of,
)
from undersong.chart.song import Bar, ChordEvent, Style
from undersong.errors import TheoryError
from undersong.theory.key import Key
from undersong.theory.meter import Meter, Wholes

MAX_BAR_SIGNS = 256
_PIECE = re.compile(r"/(?=/)|/$|(?:[^/]|/(?!/|$))+")
_ENDING_SIGN = re.compile(r"\s*(?P<number>[1-3])\.\s+(?P<rest>[^.…]+)")
_BAR_START = re.compile(
    r"\s*(?P<pickup>pick-?up\b|upbeat\b|up-beat\b)?\s*"
    r"(?:(?P<upper>\d{1,2})\s*/\s*(?P<unit>\d{1,2})\s*:)?",
    re.IGNORECASE,
)


def read_bar(
    text: str, column: int, *, meter: Meter, before: tuple[ChordEvent, ...] | None, reading: Reading
) -> Bar:
    """Read what stands between two bar lines.

    Parameters
    ----------
    text
        The stretch as `plain_signs` gives it; `column` is where it starts in its line.
    meter
        The meter in force; ``2/4:`` at the start overrides it for this bar.
    before
        The chords of the bar before, for ``%``; None where there is none.

    Raises
    ------
    SignError
        With the column in the line.
    """
    match = _BAR_START.match(text)
    assert match is not None  # every part of the pattern is optional
    start = column + len(text[: match.end()]) - len(text[: match.end()].lstrip())
    try:
        own = None if match["upper"] is None else Meter(int(match["upper"]), int(match["unit"]))
    except TheoryError as error:
        raise SignError(str(error), start, means=True) from None
    body = text[match.end() :]
    if body.strip() in ("%", "𝄎"):
        if before is None:
            raise SignError("There is no bar before this one to repeat.", start, means=True)
        return Bar(before, own or meter)
    ending = _ENDING_SIGN.fullmatch(body)
    if ending is not None:
        name = {"1": "1st", "2": "2nd", "3": "3rd"}[ending["number"]]
        raise SignError(
            f"{ending['number']}. is no chord here. If it is an ending, give it a line of its "
            f"own that starts with its name: {name}: | {ending['rest'].strip()} |",
            start,
        )
    signs, slots = _read_signs(body, column + match.end(), reading)
    if not signs and not slots:
        raise SignError(
            "This bar is empty: write a chord, % for the bar before again, or 0 for silence.",
            start,
        )
    if match["pickup"]:
        length = own.bar if own else _pickup_length(signs, slots, meter)
        if not 0 < length < meter.bar:
            raise SignError(f"A pick-up is shorter than a bar of {meter}.", start, means=True)
        return Bar(_placed(signs, slots, length, meter, start), meter, pickup=length)
    meter = own or meter
    return Bar(_placed(signs, slots, meter.bar, meter, start), meter)


def _pickup_length(signs: list[Sign], slots: list[int], meter: Meter) -> Wholes:
    dots = sum(sign.dots for sign in signs)
    return Fraction(dots or len(slots), meter.unit)


def _read_signs(text: str, column: int, reading: Reading) -> tuple[list[Sign], list[int]]:
    """The chords of a bar, and for each slot the index of its chord (-1: the chord before)."""
    tokens = _pieces(tokens_of(*_unbracketed(text, column)))
    if len(tokens) > MAX_BAR_SIGNS:
        raise SignError(f"A bar of more than {MAX_BAR_SIGNS} signs cannot be read.", column)
    signs: list[Sign] = []
    slots: list[int] = []
    prefix = ""
    dashes = 0
    for token in tokens:
        word = token.text.casefold()
        if word in ("/", ".") or (word == "-" and signs):
            slots.append(len(signs) - 1)
            if word == "-" and not dashes:
                reading.remark(token.column, "A dash alone is read as a beat more.")
            dashes += word == "-"
        elif word in PREFIX_WORDS or word in ("<<", "<-", "←"):
            prefix = PREFIX_WORDS.get(word, "<<")
        elif word in ("(hold)", "𝄐") and signs:
            signs[-1] = replace(signs[-1], event=replace(signs[-1].event, fermata=True))
        else:
            close = ">" if prefix == "<" else ""
            signs.append(read_sign(Token(prefix + token.text + close, token.column), reading))
            slots.append(len(signs) - 1)
            prefix = ""
    if prefix:
        raise SignError("Write the chord this sign belongs to right after it.", tokens[-1].column)
    return signs, slots


def _unbracketed(text: str, column: int) -> tuple[str, int]:
    # "(1 5)" is a split bar as the hand writes it underlined: inside bar lines nothing more.
    inner = text.strip()
    if inner.startswith("(") and inner.endswith(")") and " " in inner and _closes_last(inner):
        return inner[1:-1], column + text.index("(") + 1
    return text, column


def _closes_last(text: str) -> bool:
    depth = 0
    for place, sign in enumerate(text):
        depth += (sign == "(") - (sign == ")")
        if depth == 0:
            return place == len(text) - 1
    return False


def _pieces(tokens: list[Token]) -> list[Token]:
    """Tokens with the beat slashes that stick to a chord (``1///``) cut off."""
    return [
        Token(match[0], token.column + match.start())
        for token in tokens
        for match in _PIECE.finditer(token.text)
    ]


def slot_lengths(length: Wholes, meter: Meter) -> tuple[Wholes, ...]:
    """What one slash or dot may last in a bar, longest first: the beat, then its halves."""
    unit = Fraction(1, meter.unit)
    found = dict.fromkeys((meter.beat, unit, unit / 2, unit / 4))
    return tuple(each for each in found if (length / each).denominator == 1)


def _placed(
    signs: list[Sign], slots: list[int], length: Wholes, meter: Meter, column: int
) -> tuple[ChordEvent, ...]:
    """The events of a bar at their exact places."""
    if any(sign.places and (not sign.event.push or len(sign.places) > 1) for sign in signs):
        places = _named_places(signs, slots, meter)
    elif any(sign.dots for sign in signs):
        places = _dotted(signs, slots, length, meter)
    elif len(slots) == len(signs):
        places = _even(signs, length, meter)
    else:
        unit = _unit_for(len(slots), length, meter, column)
        places = [slots.index(index) * unit for index in range(len(signs))]
    events: list[ChordEvent] = []
    for sign, at in zip(signs, places, strict=True):
        if at >= length or (events and at <= events[-1].at):
            raise SignError(
                f"This chord falls outside its bar of {meter}, or before the one in front of it.",
                sign.column,
                means=True,
            )
        events.append(_pushed(sign, at, length, meter))
    return tuple(events)


def _named_places(signs: list[Sign], slots: list[int], meter: Meter) -> list[Wholes]:
    places = []
    for index, sign in enumerate(signs):
        if sign.dots or len(slots) != len(signs):
            raise SignError("Give places with @ or count beats, not both.", sign.column)
        is_push_only = bool(sign.event.push) and len(sign.places) == 1
        if is_push_only or not sign.places:
            if index:
                raise SignError("Say at which beat this chord comes, as in 4@2.5.", sign.column)
            places.append(Fraction(0))
        else:
            places.append(sign.places[0] * meter.beat)
    return places


def _pushed(sign: Sign, at: Wholes, length: Wholes, meter: Meter) -> ChordEvent:
    event = replace(sign.event, at=at)
    if not event.push or not sign.places:
        return event
    sounds = sign.places[-1] * meter.beat
    push = at - sounds if sounds < at else at + length - sounds
    if not 0 < push < length or sounds < 0:
        raise SignError("A push sounds before its own beat.", sign.column, means=True)
    return replace(event, push=push)


def _dotted(signs: list[Sign], slots: list[int], length: Wholes, meter: Meter) -> list[Wholes]:
    for sign in signs:
        if not sign.dots or len(slots) != len(signs):
            raise SignError(
                "Count this bar in one way: a dot for each beat of every chord (1... 5.), "
                "or a slash for each beat more (1 / / 5).",
                sign.column,
            )
    counts = [sign.dots for sign in signs]
    unit = _unit_for(sum(counts), length, meter, signs[-1].column)
    return [sum(counts[:index]) * unit for index in range(len(counts))]


def _unit_for(count: int, length: Wholes, meter: Meter, column: int) -> Wholes:
    for unit in slot_lengths(length, meter):
        if length / unit == count:
            return unit
    beats = length / meter.beat
    if beats.denominator != 1:
        beats = length * meter.unit
    raise SignError(
        f"This bar counts {count} {'beat' if count == 1 else 'beats'}; "
        f"a bar of {meter} has {beats}.",
        column,
        means=True,
    )


def _even(signs: list[Sign], length: Wholes, meter: Meter) -> list[Wholes]:
    count = len(signs)
    beats = length / meter.beat
    is_fair = count == 1 or (beats / count).denominator == 1
    if not is_fair and all(length / unit != count for unit in slot_lengths(length, meter)):
        raise SignError(_unfair(signs, beats, meter), signs[0].column, means=True)
    return [index * length / count for index in range(count)]


def _unfair(signs: list[Sign], beats: Fraction, meter: Meter) -> str:
    count = len(signs)
    head = f"{count} chords do not share a bar of {meter} evenly"
    if beats.denominator != 1 or count > beats:
        return f"{head}: say at which beat each comes, as in 1 4@2.5."
    names = [str(sign.event.chord or 0) for sign in signs]
    first = "." * (int(beats) - count + 1)
    example = " ".join([names[0] + first, *(f"{name}." for name in names[1:])])
    return f"{head}: write {example} to give each its beats."


def bar_signs(bar: Bar, *, style: Style, key: Key, meter: Meter) -> str:
    """What stands between the bar lines, in the one spelling we print.

    `key` is the one letters are spelled in; `meter` is the one in force, named when the bar's
    own differs.
    """
    start = ""
    if bar.is_pickup:
        start = f"pickup {bar.pickup.numerator}/{bar.pickup.denominator}: "
    elif bar.meter != meter:
        start = f"{bar.meter}: "
    return start + _body(bar, style, key)


def _body(bar: Bar, style: Style, key: Key) -> str:
    events, length = bar.events, bar.length
    units = slot_lengths(length, bar.meter)
    count = len(events)
    if not count:
        return " ".join("/" * int(length / units[0])) if units else "/"
    texts = [sign_text(event, bar, style, key) for event in events]
    if all(event.at == index * length / count for index, event in enumerate(events)) and (
        count == 1
        or (length / bar.meter.beat / count).denominator == 1
        or any(length / unit == count for unit in units)
    ):
        return " ".join(texts)
    for unit in units:
        slots = [event.at / unit for event in events]
        if all(slot.denominator == 1 for slot in slots):
            is_beat = unit == units[0] and not events[0].at
            return _counted(texts, [int(slot) for slot in slots], int(length / unit), dots=is_beat)
    beat = bar.meter.beat
    written = [f"{place_text(event.at, beat)}" for event in events]
    return " ".join(
        sign_text(event, bar, style, key, written=place)
        for event, place in zip(events, written, strict=True)
    )


def _counted(texts: list[str], slots: list[int], total: int, *, dots: bool) -> str:
    if dots:
        ends = [*slots[1:], total]
        return " ".join(
            text + "." * (end - slot) for text, slot, end in zip(texts, slots, ends, strict=True)
        )
    at = dict(zip(slots, texts, strict=True))
    return " ".join(at.get(slot, "/") for slot in range(total))

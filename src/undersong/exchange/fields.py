"""Values taken out of a JSON object, with the sentence to say where one is not as it should be.

Every message names the place (``note 3:``), the key, what stands there and what would be right.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from difflib import get_close_matches
from enum import StrEnum
from fractions import Fraction
from typing import ParamSpec, TypeVar

from undersong.errors import ExchangeError, TheoryError
from undersong.exchange.bounds import checked_length
from undersong.theory.meter import Wholes, parse_wholes

Asked = ParamSpec("Asked")
Value = TypeVar("Value")
Word = TypeVar("Word", bound=StrEnum)

MAX_DENOMINATOR = 1_000_000
_SHOWN = 40
_SINGULAR = {
    "notes": "note",
    "key_marks": "key mark",
    "meter_marks": "meter mark",
    "tempo_marks": "tempo mark",
    "sections": "section",
    "chords": "chord",
}


def _shown(value: object) -> str:
    text = repr(value)
    return text if len(text) <= _SHOWN else f"{text[:_SHOWN]} ..."


class Fields:
    """One JSON object and where it stands; `where` begins every sentence."""

    def __init__(self, values: object, where: str, known: tuple[str, ...]) -> None:
        self.where = where
        if not isinstance(values, Mapping):
            if not where:
                raise ExchangeError(
                    "This JSON is not a part: it has to hold title, key, meter, tempo_bpm and "
                    "notes by name."
                )
            raise ExchangeError(
                f"{where}{_shown(values)} stands alone: it has to be values by name, as in "
                '{"at": "0", ...}.'
            )
        self._values = values
        for name in values.keys() - set(known):
            close = get_close_matches(str(name), known, n=1, cutoff=0.8)
            if close:
                raise ExchangeError(f"{where}{_shown(name)} is no key of ours: write {close[0]!r}.")

    def value(self, name: str) -> object:
        """What stands under a key; None where it is null or not there."""
        return self._values.get(name)

    def wrong(self, name: str, right: str) -> ExchangeError:
        """The error for a value that is of no use."""
        return ExchangeError(
            f"{self.where}{name!r} is {_shown(self.value(name))}: it has to be {right}."
        )

    def missing(self, name: str, right: str) -> ExchangeError:
        """The error for a value that is not there."""
        return ExchangeError(f"{self.where}{name!r} is missing: it has to be {right}.")

    def _asked(self, name: str, right: str) -> object:
        value = self.value(name)
        if value is None:
            raise self.missing(name, right)
        return value

    def text(self, name: str) -> str:
        """A string that has to be there."""
        value = self._asked(name, "text in quotes")
        if not isinstance(value, str):
            raise self.wrong(name, "text in quotes")
        return value

    def number(self, name: str) -> float:
        """A number that has to be there."""
        value = self._asked(name, "a number such as 72")
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.wrong(name, "a number such as 72")
        try:
            return float(value)
        except OverflowError:
            raise self.wrong(name, "a number such as 72") from None

    def whole(self, name: str, low: int, high: int) -> int | None:
        """A whole number in a range, or None."""
        value = self.value(name)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            raise self.wrong(name, f"a whole number from {low} to {high}")
        return value

    def flag(self, name: str) -> bool:
        """True or false; false where it is not there."""
        value = self.value(name)
        if value is not None and not isinstance(value, bool):
            raise self.wrong(name, "true or false")
        return bool(value)

    def wholes(self, name: str, default: Wholes | None = None) -> Wholes:
        """An exact length or place; `default` where it is not there."""
        right = "an exact fraction of a whole note in quotes, such as '3/8'"
        value = self.value(name)
        if value is None:
            if default is None:
                raise self.missing(name, right)
            return default
        if isinstance(value, bool) or not isinstance(value, str | int):
            raise self.wrong(name, right)
        try:
            wholes = parse_wholes(value) if isinstance(value, str) else Fraction(value)
        except TheoryError as error:
            raise self.wrong(name, right) from error
        if wholes.denominator > MAX_DENOMINATOR:
            raise self.wrong(name, f"a fraction of at most {MAX_DENOMINATOR} parts")
        return checked_length(wholes)

    def at(self, name: str) -> Wholes:
        """A place, not before the start."""
        place = self.wholes(name)
        if place < 0:
            raise self.wrong(name, "a place from the start on, '0' or later")
        return place

    def parsed(self, name: str, parse: Callable[[str], Value], right: str) -> Value:
        """A string that has to be there, read by a parser of `theory`."""
        value = self._asked(name, right)
        if not isinstance(value, str):
            raise self.wrong(name, right)
        try:
            return parse(value)
        except TheoryError as error:
            raise ExchangeError(f"{self.where}{name!r}: {error}") from error

    def parsed_or_none(self, name: str, parse: Callable[[str], Value], right: str) -> Value | None:
        """The same, or None where nothing stands there."""
        return None if self.value(name) is None else self.parsed(name, parse, right)

    def choice(self, name: str, words: type[Word], default: Word) -> Word:
        """One of a few words; `default` where it is not there."""
        value = self.value(name)
        if value is None:
            return default
        for word in words:
            if word.value == value:
                return word
        raise self.wrong(name, "one of " + ", ".join(word.value for word in words))

    def inner(self, name: str, known: tuple[str, ...]) -> Fields | None:
        """The object under a key, or None."""
        value = self.value(name)
        return None if value is None else Fields(value, f"{self.where}{name}: ", known)

    def rows(self, name: str, known: tuple[str, ...], *, required: bool = False) -> list[Fields]:
        """The objects of a list, each with its number in the sentence, counted from 1."""
        value = self._asked(name, "a list [...]") if required else self.value(name)
        if value is None:
            return []
        if not isinstance(value, list | tuple):
            raise self.wrong(name, "a list [...]")
        return [
            Fields(row, f"{_SINGULAR[name]} {number}: ", known)
            for number, row in enumerate(value, start=1)
        ]

    def made(
        self, make: Callable[Asked, Value], *args: Asked.args, **kwargs: Asked.kwargs
    ) -> Value:
        """A value of `theory`; what it refuses is told with the place."""
        try:
            return make(*args, **kwargs)
        except TheoryError as error:
            raise ExchangeError(f"{self.where}{error}") from error

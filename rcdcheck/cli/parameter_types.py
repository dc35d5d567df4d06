"""Kinds of values on the command line that click has not: each makes of a text what it means, or says what is wrong."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

import click

from rcdcheck.errors import UsageError

if TYPE_CHECKING:  # the type is generic, and no class that can be asked for its parameter in older versions
    Kind = click.ParamType[Any]
else:
    Kind = click.ParamType

EARLIEST, LATEST = 1990, 2200  # years
ASSUMABLE = {"rated": "rated_residual_current", "rated_residual_current": "rated_residual_current"}


def _option(param: click.Parameter | None) -> str:
    return max(param.opts, key=len) if param is not None else "the value"


class Day(Kind):
    """A day such as 2026-11-25, as a date."""

    name = "day"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> dt.date:
        """Raises UsageError for what is no day, or not of any test."""
        try:
            named = value if isinstance(value, dt.date) else dt.date.fromisoformat(value)
        except ValueError:
            raise UsageError(f"{_option(param)} {value} is not a day; write it as 2026-11-25.") from None
        if not EARLIEST <= named.year <= LATEST:
            between = f"it lies between {EARLIEST} and {LATEST}"
            raise UsageError(f"{_option(param)} {value} is not a day of any test; {between}.")
        return named


class Words(Kind):
    """Some of the words that are known, by commas, as a tuple; `nothing` is the word for none of them."""

    name = "words"

    def __init__(self, known: tuple[str, ...], nothing: str = "") -> None:
        self.known, self.nothing = known, nothing

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[str, ...]:
        """Raises UsageError for an empty text and for a word that is not known."""
        if isinstance(value, tuple):
            return value
        option = _option(param)
        words = tuple(word.strip() for word in value.split(",") if word.strip())
        if words == (self.nothing,) and self.nothing not in self.known:
            return ()
        if not words:
            meant = f"Write {option} {self.nothing} where that is meant." if self.nothing else (
                f"Leave {option} out, or name one of {', '.join(self.known)}."
            )  # fmt: skip
            raise UsageError(f"{option} is empty: perhaps a variable is not set. {meant}")
        for word in words:
            if word not in self.known:
                raise UsageError(f"{option} {word} is not known; choose from {', '.join(self.known)}.")
        return words


class Assumption(Kind):
    """What no column states, `rated=30mA`, as field and value. Nothing ever assumes an inspection."""

    name = "assumption"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[str, str]:
        """Raises UsageError for any other field, and for what is no rated residual current."""
        if isinstance(value, tuple):
            return value
        name, _, figure = value.partition("=")
        field = ASSUMABLE.get(name.strip().casefold())
        if field is None or not figure.strip():
            raise UsageError(
                f"--assume {value} is not possible; what can be assumed is rated=30mA (any rated residual current)."
            )
        if not _is_rating(figure):
            raise UsageError(f"--assume {value} names no rated residual current; write it as rated=30mA.")
        return field, figure.strip()


def _is_rating(text: str) -> bool:
    import numpy as np

    from rcdcheck.intake.cells.whole_columns import read_rated

    return text.strip()[:1].isdecimal() and bool(read_rated(np.array([text.strip()], dtype=object)).value[0] > 0)


class Uncertainty(Kind):
    """An expanded uncertainty as quantity and figure: `trip_time=10%` of the limit, `trip_current=5%r` of a reading."""

    name = "uncertainty"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[str, str]:
        """Raises UsageError for another form."""
        from rcdcheck.judging.confidence import parse_spec

        if isinstance(value, tuple):
            return value
        quantity, _, spec = value.partition("=")
        if quantity.strip() not in ("trip_time", "trip_current"):
            raise UsageError(f'--uncertainty "{value}" needs the form "trip_time=10%" or "trip_current=5%r".')
        parse_spec(spec)
        return quantity.strip(), spec.strip()

"""Turns results written as decimals into rounded ones and into an answer at a limit, by absolute or rounding method.

Everything is decimal text: a binary float has no last digit. Round the value that is compared, such as an annual
average, and never the single results before it.
"""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, ROUND_HALF_UP, Context, Decimal, InvalidOperation
from enum import StrEnum


class Tie(StrEnum):
    """What a digit exactly in the middle becomes.

    ``EVEN``: the even neighbour (ASTM E29, 6.4; ISO 80000-1:2009, Annex B, rule A). ``UP``: away from zero (European
    Pharmacopoeia, General Notices; US EPA for the MCLs of 40 CFR 141.61(c)(2); ISO 80000-1, rule B).
    """

    EVEN = "half to even"
    UP = "half up"


class Method(StrEnum):
    """How a result is set beside a limit (ASTM E29): as it is, or rounded to the limit's last place first."""

    ABSOLUTE = "absolute"
    ROUNDING = "rounding"


_MODES = {Tie.EVEN: ROUND_HALF_EVEN, Tie.UP: ROUND_HALF_UP}
_MOST_PLACES = 40  # before or after the point
_EXACT = Context(prec=5 * _MOST_PLACES)


def decimal_of(text: str | Decimal) -> Decimal:
    """Return the finite number that *text* writes with a decimal point.

    Raises
    ------
    ValueError
        It is no finite number, or has digits more than 40 places before or after the point.
    """
    try:
        value = Decimal(text)
    except InvalidOperation:
        raise ValueError(f"{text!r} is no number with a decimal point") from None
    if not value.is_finite():
        raise ValueError(f"{text!r} is no finite number")
    exponent = value.as_tuple().exponent
    if isinstance(exponent, int) and (exponent < -_MOST_PLACES or value.adjusted() > _MOST_PLACES):
        raise ValueError(f"{text!r} is no number of at most {_MOST_PLACES} places before and after the point")
    return value


def round_to_place(text: str | Decimal, place: str | Decimal, tie: Tie = Tie.EVEN) -> Decimal:
    """Return *text* rounded to a multiple of *place*: ``0.01``, ``1E+1`` for tens, ``0.5`` or ``2`` too.

    Examples
    --------
    >>> round_to_place("0.145", "0.01"), round_to_place("0.145", "0.01", Tie.UP)
    (Decimal('0.14'), Decimal('0.15'))
    """
    step = abs(decimal_of(place))
    if not step:
        raise ValueError("the place to round to must not be 0")
    steps = _EXACT.divide(decimal_of(text), step).quantize(Decimal(1), _MODES[tie], _EXACT)
    return _EXACT.multiply(steps, step)


def round_to_figures(text: str | Decimal, figures: int, tie: Tie = Tie.EVEN) -> Decimal:
    """Return *text* with that many significant *figures* (1 to 40); 0 stays 0.

    Rounding that carries over keeps the number of figures: 99.6 to two is 1.0E+2 (ASTM E29, 6.4).
    """
    if not 1 <= figures <= _MOST_PLACES:
        raise ValueError(f"significant figures must be 1 to {_MOST_PLACES}, got {figures}")
    value = decimal_of(text)
    if not value:
        return value
    rounded = value.quantize(Decimal(1).scaleb(value.adjusted() - figures + 1), _MODES[tie], _EXACT)
    return rounded.quantize(Decimal(1).scaleb(rounded.adjusted() - figures + 1), context=_EXACT)


def within_upper(
    text: str | Decimal,
    limit: str,
    method: Method = Method.ABSOLUTE,
    tie: Tie = Tie.EVEN,
    figures: int | None = None,
) -> bool:
    """Tell whether a value is at most *limit*.

    Parameters
    ----------
    text : str or Decimal
        The value to compare, unrounded.
    limit : str
        As the rule writes it: its last digit is the place to round to.
    method : Method
        Absolute (ASTM E29, section 5) or rounding (section 6).
    tie : Tie
        For the rounding method.
    figures : int, optional
        Significant figures of the limit where its digits do not tell (``10`` has one or two); the value is rounded
        to the same number (US EPA 2024, PFAS: Significant Figures and Rounding Requirements).
    """
    value, bound = decimal_of(text), decimal_of(limit)
    if method == Method.ABSOLUTE:
        return value <= bound
    if figures is not None:
        return round_to_figures(value, figures, tie) <= bound
    exponent = bound.as_tuple().exponent
    assert isinstance(exponent, int)  # decimal_of lets only finite numbers through
    return round_to_place(value, Decimal(1).scaleb(exponent), tie) <= bound

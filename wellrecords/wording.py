"""Numbers as a person says them: rounded to what they are worth, with a unit.

Depths to 5 ft, yields to two figures, money to $100 (unit prices to the
cent), chances to whole per cent. Infinite depths are "not reached".
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

from wellrecords.errors import counted as counted
from wellrecords.units import M_PER_MILE

MISSING = "–"


def round_half_up(value: float, step: float) -> float:
    """Round to the nearest multiple of `step`, halves away from zero.

    >>> round_half_up(42.5, 5.0)
    45.0
    """
    return math.copysign(math.floor(abs(value) / step + 0.5) * step, value)


def is_missing(value: object) -> bool:
    """Tell whether a table's value is null (None, NaN, NA, NaT)."""
    return value is None or value is not value or str(value) in {"<NA>", "NaT", "nan"}


def whole(value: float) -> str:
    """Return a count with thousands separators.

    >>> whole(12345)
    '12,345'
    """
    return MISSING if is_missing(value) else f"{round(value):,}"


def depth(value_ft: float) -> str:
    """Return a depth below ground, to 5 ft.

    >>> depth(242.0), depth(float("inf"))
    ('240 ft', 'not reached')
    """
    if is_missing(value_ft):
        return MISSING
    if math.isinf(value_ft):
        return "not reached" if value_ft > 0 else "flowing"
    return f"{round_half_up(value_ft, 5.0) + 0.0:,.0f} ft"


def target_depth(value_ft: float, limit_ft: float) -> str:
    """Return a depth to the target; past the limit it is only "over" it.

    >>> target_depth(245.0, 600.0), target_depth(float("inf"), 600.0)
    ('245 ft', 'over 600 ft')
    """
    return f"over {depth(limit_ft)}" if value_ft > limit_ft else depth(value_ft)


def water_level(value_ft: float) -> str:
    """Return a depth to water; negative levels stand above ground, where the well flows.

    >>> water_level(-12.0), water_level(33.0)
    ('10 ft above ground', '35 ft')
    """
    if is_missing(value_ft):
        return MISSING
    if math.isinf(value_ft):
        return depth(value_ft)
    if value_ft < 0:
        above = round_half_up(-value_ft, 5.0)
        return f"{above:,.0f} ft above ground" if above else "ground level"
    return depth(value_ft)


def exact_depth(value_ft: float) -> str:
    """Return a logged depth, to the foot: a record is not an estimate.

    >>> exact_depth(242.0)
    '242 ft'
    """
    return MISSING if is_missing(value_ft) else f"{value_ft:,.0f} ft"


def two_figures(value: float) -> str:
    """Return a number to two significant figures.

    >>> two_figures(0.4567), two_figures(12.7), two_figures(1234.0)
    ('0.46', '13', '1,200')
    """
    if is_missing(value):
        return MISSING
    if value == 0:
        return "0"
    decimals = 1 - math.floor(math.log10(abs(value)))
    rounded = round(value, decimals)
    decimals = max(0, 1 - math.floor(math.log10(abs(rounded))))
    text = f"{rounded:,.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def flow(value_gpm: float) -> str:
    """Return a yield in gallons a minute, to two figures.

    >>> flow(4.96), flow(0.0)
    ('5 gpm', '0 gpm')
    """
    return MISSING if is_missing(value_gpm) else f"{two_figures(value_gpm)} gpm"


def money(value_usd: float) -> str:
    """Return an amount, to $100; small amounts to $10.

    >>> money(18449.0), money(86.0), money(-250.0)
    ('$18,400', '$90', '−$300')
    """
    if is_missing(value_usd):
        return MISSING
    rounded = round_half_up(value_usd, 100.0 if abs(value_usd) >= 250.0 else 10.0)
    return f"{'−' if rounded < 0 else ''}${abs(rounded):,.0f}"


def small_money(value_usd: float) -> str:
    """Return the amount of one line of a bid, to $10; under $20 to the dollar.

    >>> small_money(949.0), small_money(18449.0), small_money(4.1)
    ('$950', '$18,450', '$4')
    """
    if is_missing(value_usd):
        return MISSING
    rounded = round_half_up(value_usd, 10.0 if abs(value_usd) >= 20.0 else 1.0)
    return f"{'−' if rounded < 0 else ''}${abs(rounded):,.0f}"


def place_cost(cost_usd: float, trench_ft: float) -> str:
    """Return what a place on a lot costs; without a trench to the house it is less, and no bargain.

    >>> place_cost(612.0, 17.0), place_cost(190.0, math.nan), place_cost(math.nan, math.nan)
    ('$610', '$190 without trench', '–')
    """
    said = small_money(cost_usd)
    return said if said == MISSING or math.isfinite(trench_ft) else f"{said} without trench"


def unit_price(value_usd: float) -> str:
    """Return a unit price to the cent.

    >>> unit_price(38.0)
    '$38.00'
    """
    return MISSING if is_missing(value_usd) else f"${value_usd:,.2f}"


def percent(share: float) -> str:
    """Return a chance as per cent; never 0% or 100%, which no record can prove.

    >>> percent(0.123), percent(0.001), percent(0.995), percent(0.9999)
    ('12%', 'under 1%', 'over 99%', 'over 99%')
    """
    if is_missing(share):
        return MISSING
    if share < 0.005:
        return "under 1%"
    if share >= 0.995:  # which would round to 100
        return "over 99%"
    return f"{round_half_up(share * 100.0, 1.0):.0f}%"


def fine_percent(share: float) -> str:
    """Return a share among many small ones, to a tenth of a per cent.

    >>> fine_percent(0.0123), fine_percent(0.0002), fine_percent(0.25)
    ('1.2%', 'under 0.1%', '25.0%')
    """
    if is_missing(share):
        return MISSING
    return "under 0.1%" if share < 0.0005 else f"{round_half_up(share * 100.0, 0.1):.1f}%"


def distance(value_m: float) -> str:
    """Return a distance on the ground in feet or miles.

    >>> distance(120.0), distance(1609.344), distance(20000.0)
    ('390 ft', '1.0 mi', '12 mi')
    """
    if is_missing(value_m):
        return MISSING
    miles = value_m / M_PER_MILE
    if miles < 0.25:
        return f"{round_half_up(miles * 5280.0, 10.0):,.0f} ft"
    return f"{miles:.1f} mi" if miles < 10 else f"{miles:,.0f} mi"


def distances(values_m: Iterable[float]) -> list[str]:
    """Return the distances of one table in one unit: feet where all are within a mile, else miles.

    >>> distances([120.0, 1500.0]), distances([120.0, 2500.0])
    (['390 ft', '4,920 ft'], ['0.07 mi', '1.55 mi'])
    """
    values = list(values_m)
    miles = [value / M_PER_MILE for value in values if not is_missing(value)]
    if max(miles, default=0.0) <= 1.0:
        return [MISSING if is_missing(v) else f"{round_half_up(v / M_PER_MILE * 5280.0, 10.0):,.0f} ft" for v in values]
    decimals = 2 if min(miles) < 1.0 else 1
    return [MISSING if is_missing(v) else f"{v / M_PER_MILE:,.{decimals}f} mi" for v in values]


def span(low: float, high: float, say: Callable[[float], str]) -> str:
    """Return a range in words, the unit said once where both share it.

    >>> span(150.0, 420.0, depth)
    '150 to 420 ft'
    >>> span(150.0, float("inf"), depth)
    '150 ft to not reached'
    """
    first, last = say(low), say(high)
    if first == last:
        return first
    first_number, _, first_unit = first.partition(" ")
    _, _, last_unit = last.partition(" ")
    return f"{first_number} to {last}" if first_unit == last_unit and first_unit else f"{first} to {last}"


def reading(low: float, high: float, unit: str) -> str:
    """Return an interval reading as the record meant it.

    >>> reading(5.0, 5.0, "gpm"), reading(90.0, float("inf"), "ft"), reading(0.0, 0.5, "gpm")
    ('5 gpm', 'over 90 ft', 'under 0.5 gpm')
    >>> reading(float("-inf"), 0.0, "ft"), reading(1.0, 5.0, "gpm"), reading(-4.92, -4.92, "ft")
    ('flowing', '1 to 5 gpm', '4.92 ft above ground')
    """
    if is_missing(low) or is_missing(high):
        return MISSING
    if math.isinf(low) and math.isinf(high):
        return MISSING
    if math.isinf(high):
        return f"over {_logged(low)} {unit}"
    if math.isinf(low):
        return "flowing" if high <= 0 else f"under {_logged(high)} {unit}"
    if low == high:
        return f"{_logged(low)} {unit}" if low >= 0 else f"{_logged(-low)} {unit} above ground"
    if low == 0:
        return f"under {_logged(high)} {unit}"
    return f"{_logged(low)} to {_logged(high)} {unit}"


def listing(items: Iterable[str]) -> str:
    """Join words as a sentence does.

    >>> listing(["rock", "water", "yield"])
    'rock, water and yield'
    """
    words = list(items)
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}" if words else ""


def _logged(value: float) -> str:
    """Return a logged figure to three figures or to the unit: what a rig's tape and bucket can tell.

    A figure taken down in metres comes back to feet with decimals that nobody read.
    """
    if abs(value) >= 100:
        return f"{value:,.0f}"
    return f"{value:.3g}" if abs(value) >= 1e-3 else "0"

"""QML parts: colours, lengths and conditions as QGIS writes them."""

from toolbox.report.styles.signs import Between, Condition, Equals, Is
from toolbox.report.styles.words import allowed

__all__ = ["MM", "condition", "quoted", "rgba"]

MM = 0.28
"""Millimetres of a pixel, by the Styled Layer Descriptor 1.0.0, 10.2."""


def rgba(colour: str, opacity: float = 1.0) -> str:
    """Return a colour as four numbers.

    Examples
    --------
    >>> rgba("#ff8000", 0.5)
    '255,128,0,128'
    """
    parts = [int(colour[place : place + 2], 16) for place in (1, 3, 5)]
    return ",".join(map(str, [*parts, round(255 * opacity)]))


def condition(where: Condition) -> str:
    """Return a condition as an expression.

    Examples
    --------
    >>> print(condition(Equals("species", "O'Neill's trout")))
    "species" = 'O''Neill''s trout'
    """
    column = quoted(where.column)
    if isinstance(where, Is):
        return column if where.value else f"NOT {column}"
    if isinstance(where, Between):
        return f"{column} >= {where.least:.12g} AND {column} < {where.most:.12g}"
    assert isinstance(where, Equals)
    text = allowed(where.value).replace("\\", "\\\\").replace("'", "''")
    return f"{column} = '{text}'"


def quoted(column: str) -> str:
    """Return the name of a column as it stands in an expression."""
    return '"' + allowed(column).replace('"', '""') + '"'

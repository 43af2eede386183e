"""The one policy of length: what is written explicitly, by states, over ``Delta``, and what not at all.

A formula is worth its length.  Lengths are terms of integer polynomials, known before anything is written,
so that what nobody could read costs no time:

- up to :data:`EXPLICIT` terms of the output voltage a mode is told explicitly, by the circuit's symbols;
- beyond, ripple, stress and losses are told by the states (coil currents and capacitor voltages), and of the
  averages a reader sees only those over ``Delta`` that are short;
- beyond :data:`EVALUATED` terms no formula is evaluated at a point: numbers come from the equations;
- a single formula of more than :data:`TOLD` terms takes a shorter wording, or is left out if it has none;
- a ratio of more than :data:`WRITTEN` terms is not written at all.

What a screen or a page has room for, in lines and signs, stands in ``report``.
"""

from __future__ import annotations

# wording of a mode
EXPLICIT = 24
"""Terms of a mode's output voltage up to which it is told explicitly, not by its states."""
EVALUATED = 80
"""Terms of a mode's output voltage up to which numbers are read off its formulas ..."""
EVALUATED_CONDITIONS = 1000
"""... and terms of all its sign conditions."""

# wording of one formula
DIVIDED_OUT = 6
"""Terms of a factor by which a current may be told from a state."""
JOINED = 12
"""Terms up to which mean squares become one ratio, and the sign of a sum is looked for when it is written."""
CLOSED_ROOT = 16
"""Terms of a ratio and its root of degree two up to which the root is put in."""
JOINED_LOSS = 40
"""Terms of currents up to which a loss becomes one ratio, not resistance times a sum of squares."""
GLANCE = 60
"""Terms of what is read at a glance: a bound on the period, a port's current on a screen, a state put in."""
TOLD = 150
"""Terms of a swing, a port's current or a condition on fractions up to which it is told, and of a
capacitor's voltage up to which it is told without the coil currents."""
FACTORED_RATIO = 200
"""Terms of a ratio up to which it is put into factors: with more that takes seconds."""
BOUNDED = 300
"""Terms of a demand up to which it is looked at as a bound on the period."""
WRITTEN = 600
"""Terms of anything that is written: nobody could read more, and it takes seconds."""
LEADING_SUM = 800
"""Terms of a sum in a leading order before common factors go."""

# wording for a reader, once written: operations of an expression
NAMED = 12
"""Operations from which a sum that comes back, or a boundary, gets a name."""
VOLTAGE_SHOWN = 30
"""Operations of a capacitor's voltage from which a reader is told it by the coil currents."""
RIPPLE_SHOWN = 40
"""Operations of a ripple up to which it is looked at for the output voltage in it."""
EDGE_SHOWN = 60
"""Operations of a boundary up to which a reader is told it."""
ORDER_SHOWN = 250
"""Operations of a leading order up to which it is a row."""
PAGE = 600
"""Symbols, numbers and operations of a formula that can still be read: half a page."""
ROW = 1000
"""The same of a formula that is printed into a row at all."""

# work on the way
COMMON_FACTOR = 100
"""Terms beyond which products count as in lowest terms, as their factors are, and cases are not proved."""
SIGN_FACTORED = 150
"""Terms of a polynomial up to which its sign is looked for factor by factor."""
TOGETHER = 300
"""Terms of a mean or ramp, solved with all others, up to which ramps are not told by the averages."""
ELIMINATED_WITH_NUMBERS = 4000
"""Terms of a coefficient where numbers stand for the parameters: with more, dividing takes many seconds."""
JUDGED_EXACTLY = 5000
"""Terms of all sign conditions up to which they are judged exactly, not in floats."""
MULTIPLIED = 20_000
"""Terms that a product of factors, or all sign conditions checked at random points, may have."""
ELIMINATED = 60_000
"""Terms of all combinations of a system that is solved with symbols."""
INSERTED = 100_000
"""Terms that may come out where something is put in."""
ONE_EQUATION = 250_000
"""Terms of one equation: with more, dividing it by its common factor alone takes seconds."""

"""Signs of polynomials in positive variables, proved from coefficients, given facts, and squares."""

from __future__ import annotations

from voltsec.circuit.elements import Load
from voltsec.steady.balance import Balance, Ratio
from voltsec.tableau.ring import Polynomial, definite_sign, factors

LONGEST_FACTORED = 150
"""A polynomial of more terms is taken whole."""

LONGEST = 24
"""Terms of a polynomial up to which squares are completed; ..."""

LONGEST_REST = 120
"""... and of what is then left to be proved positive."""

MOST_SQUARES = 4
"""So many squares are completed one after another."""


MOST_TRIED = 150
"""Polynomials looked at for one sign."""


def ordinary(balance: Balance) -> list[Polynomial]:
    """What is so in every ordinary stage, as positive polynomials; modes state them with their regions.

    The input voltage exceeds the drops of all devices together, and the load's resistance all series
    resistances together.
    """
    ring, circuit = balance.ring, balance.circuit
    found = []
    drops = [device.drop.symbol for device in circuit.devices if device.drop is not None]
    if drops:
        found.append(_above(ring.symbol(circuit.input.quantity.symbol), drops, balance))
    series = [
        element.resistance.symbol
        for element in circuit.elements
        if getattr(element, "resistance", None) is not None
    ]
    loads = circuit.of(Load)
    if series and loads:
        load = next((one for one in loads if one.name == circuit.output.element), loads[0])
        found.append(_above(ring.symbol(load.quantity.symbol), series, balance))
    return found


def _above(larger: Polynomial, names: list[str], balance: Balance) -> Polynomial:
    for name in names:
        larger = larger - balance.ring.symbol(name)
    return larger


def sign_given(ratio: Ratio, known: list[Polynomial]) -> int | None:
    """Sign of a ratio, proved from coefficients and from polynomials known to be positive."""
    if ratio[0].is_zero():
        return 0
    total = 1
    for part in ratio:
        content, pairs = factors(part) if len(part) <= LONGEST_FACTORED else (1, [(part, 1)])
        total *= 1 if content > 0 else -1
        for factor, power in pairs:
            sign = definite_sign(factor)
            if sign is None and power % 2 == 0:
                continue
            if sign is None:
                sign = next((1 if factor == k else -1 for k in known if factor == k or -factor == k), None)
            if sign is None and len(factor) <= LONGEST_FACTORED:
                sign = _sign_by_difference(factor, known)
            if sign is None and len(factor) <= LONGEST:
                sign = _sign_by_squares(factor)
            if sign is None:
                return None
            total *= sign if power % 2 else 1
    return total


def _sign_by_difference(polynomial: Polynomial, known: list[Polynomial]) -> int | None:
    """Sign where known positive polynomials make it definite.

    A known difference a - b - c of variables lets a be put as a + b + c; any other fact (or the
    polynomial itself) may be taken from the polynomial: what is left must have one sign.
    """
    context = polynomial.context()
    generators = list(context.gens())
    images = list(generators)
    others = []
    for fact in known:
        terms = [(int(c), tuple(int(p) for p in powers)) for powers, c in fact.to_dict().items()]
        larger = [powers.index(1) for c, powers in terms if c == 1]
        if any(sum(powers) != 1 for _, powers in terms) or len(larger) != 1:
            others.append(fact)
        elif all(c == -1 for c, powers in terms if powers.index(1) != larger[0]):
            smaller = [powers.index(1) for c, powers in terms if c == -1]
            images[larger[0]] = sum((generators[k] for k in smaller), generators[larger[0]])
    for taken in (polynomial - polynomial, *others):
        for sign in (1, -1):
            left = (polynomial * sign - taken).compose(*images, ctx=context)
            if not left.is_zero() and definite_sign(left) == 1:
                return sign
    return None


def _sign_by_squares(
    polynomial: Polynomial, depth: int = MOST_SQUARES, tried: list[Polynomial] | None = None
) -> int | None:
    """Sign of ``a*x**2 + b*x + c`` where a and c have one and ``4*a*c - b**2`` is positive.

    Then b*x cannot outweigh the rest.  A polynomial all of whose coefficients in some variable have one
    sign has that sign, too.  ``tried`` collects what was looked at, to end a search that leads nowhere.
    """
    tried = [] if tried is None else tried
    tried.append(polynomial)
    sign = definite_sign(polynomial)
    if sign is not None or len(polynomial) > LONGEST_REST or depth == 0 or len(tried) > MOST_TRIED:
        return sign
    for place, degree in enumerate(polynomial.degrees()):
        if not degree:
            continue
        parts = _coefficients(polynomial, place)
        if degree == 2 and len(parts) == 3:
            c, b, a = (parts[power] for power in (0, 1, 2))
            sign = definite_sign(a)
            if sign is not None and definite_sign(c) == sign:
                content, pairs = factors(4 * a * c - b * b)
                left = [factor for factor, power in pairs if power % 2]
                if content > 0 and all(_sign_by_squares(f, depth - 1, tried) == 1 for f in left):
                    return sign
        if len(parts) > 1:
            open_ = [part for part in parts.values() if definite_sign(part) is None]
            if len(open_) == 1:
                signs = {definite_sign(part) for part in parts.values()} - {None}
                if len(signs) == 1 and _sign_by_squares(open_[0], depth - 1, tried) in signs:
                    return next(iter(signs))
    return None


def _coefficients(polynomial: Polynomial, place: int) -> dict[int, Polynomial]:
    """Coefficients of the powers of one variable; powers that do not occur are left out."""
    parts: dict[int, dict] = {}
    for powers, coefficient in polynomial.to_dict().items():
        parts.setdefault(int(powers[place]), {})[(*powers[:place], 0, *powers[place + 1 :])] = coefficient
    context = polynomial.context()
    return {power: context.from_dict(part) for power, part in parts.items()}

"""Where a mode holds, as JavaScript: the solver's own sign conditions rather than their shortened region."""

from __future__ import annotations

import json

from voltsec.formulas.modes import ModeBuilder
from voltsec.periodic.verification import open_conditions
from voltsec.report.javascript import javascript
from voltsec.tableau.ring import Polynomial, Ring

LONGEST_CONDITIONS = 4000
"""Terms of all conditions beyond which a mode's stated region is used instead."""

SIGNS = """function signs(conditions, slack) {
  return conditions.every(([terms, bottom]) => {
    const top = terms.reduce((sum, term) => sum + term, 0);
    const size = terms.reduce((sum, term) => sum + Math.abs(term), 0);
    return Math.sign(bottom) * top > -(1e-8 + slack) * size;
  });
}
function zero(terms) {
  const top = terms.reduce((sum, term) => sum + term, 0);
  return Math.abs(top) < 1e-9 * terms.reduce((sum, term) => sum + Math.abs(term), 0);
}"""


def region_script(builder: ModeBuilder) -> str | None:
    """A function of ``p`` (definitions included) that tells whether the mode holds; ``None`` if too long."""
    balance, fractions = builder.balance, builder.found.fractions
    conditions = [condition.ratio for condition in open_conditions(balance)]
    if sum(ratio.terms for ratio in conditions) > LONGEST_CONDITIONS:
        return None
    names = balance.sequence.fractions
    shares = [javascript(builder.form.share(name)) for name in names]
    least = [fractions.least(name) for name in names]
    shown = ",".join(
        f"[{_terms(r.numerator, balance.ring)},{_sum(r.denominator, balance.ring)}]" for r in conditions
    )
    ties = "".join(f"&&zero({_terms(constraint, balance.ring)})" for constraint in fractions.constraints)
    assigned = "".join(f"p[{json.dumps(name)}]=f[{place}];" for place, name in enumerate(names))
    return (
        f"(p,slack)=>{{const f=[{','.join(shares)}];if(!f.every((x,k)=>x>{least}[k]))return false;"
        f"p=Object.assign({{}},p);{assigned}return signs([{shown}],slack){ties};}}"
    )


def _terms(polynomial: Polynomial, ring: Ring) -> str:
    return f"[{','.join(_monomials(polynomial, ring)) or '0'}]"


def _sum(polynomial: Polynomial, ring: Ring) -> str:
    return "+".join(_monomials(polynomial, ring)) or "0"


def _monomials(polynomial: Polynomial, ring: Ring) -> list[str]:
    found = []
    for powers, coefficient in polynomial.to_dict().items():
        factors = [f"({int(coefficient)})"]
        for name, power in zip(ring.names, powers, strict=True):
            value = f"p[{json.dumps(name)}]"
            factors += [f"{value}/{ring.divisors[name]}" if name in ring.divisors else value] * int(power)
        found.append("*".join(factors))
    return found

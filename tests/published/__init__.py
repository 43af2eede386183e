"""The solver against published formulas and worked examples, each with its source beside it."""

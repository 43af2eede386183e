"""Exact numbers: the periodic state of the circuit as it is, with its real coils and capacitors."""

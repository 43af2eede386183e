"""The example notebook runs, and its stored outputs are what its cells give."""

"""Properties that hold whatever the circuit: nothing here knows a formula of any converter."""

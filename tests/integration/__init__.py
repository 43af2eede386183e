"""Checks of the solver against a time-domain integration that shares no equation with it."""

"""Sizes, worst corners, stages side by side."""

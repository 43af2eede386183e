"""Random circuits, each from its number, judged by the integration in time of tests/integration."""

"""Transports: the only place that opens a port or a radio."""

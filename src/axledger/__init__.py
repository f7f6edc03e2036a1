"""Axle and wheel geometry of heavy vehicles, from device bytes to verdicts."""

__version__ = "0.1.0"

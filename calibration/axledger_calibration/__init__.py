"""Arithmetic and records of instruments."""

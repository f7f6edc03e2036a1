"""Replay, verification of statements, and the views a quality lead asks for."""

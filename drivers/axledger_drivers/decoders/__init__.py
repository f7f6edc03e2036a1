"""Decoders: bytes and their arrival times in, frames out."""

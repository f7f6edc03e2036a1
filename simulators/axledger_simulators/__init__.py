"""Simulated devices, vehicles and jobs."""

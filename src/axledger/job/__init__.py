"""Layouts, limits, plan, the fold from entries to job state, and the live run."""

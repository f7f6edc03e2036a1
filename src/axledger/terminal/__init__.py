"""The terminal view of a job."""

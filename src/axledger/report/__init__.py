"""The sheet a job is handed over with."""
